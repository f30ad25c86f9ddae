//! An instance as the caller holds it, and what every function does first and last.

use std::ffi::{CString, c_char, c_int, c_void};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use host_sim::export::{Fault, Kind, Session, Value, read_resources};

use crate::bound::Bound;
use crate::logger::{ERROR, Log, OK, c_text};
use crate::memory::{list, null, text, write};

/// An instance.
pub struct Handle {
    pub(crate) bound: Bound,
    pub(crate) log: Log,
    /// Texts that were handed out in the last call.
    words: Vec<CString>,
    /// A panic was met: nothing can be said of what it left.
    broken: bool,
}

/// A saved state.
pub struct Saved(Bound);

/// A new instance for the caller, or null after a message to `log`.
pub(crate) fn made(
    log: Log,
    token: *const c_char,
    resources: impl FnOnce() -> Result<std::path::PathBuf, String>,
) -> *mut Handle {
    let result = catch_unwind(AssertUnwindSafe(|| -> Result<Handle, String> {
        let source = read_resources(Path::new(&resources()?))?;
        // SAFETY: The standard promises a text.
        let token = unsafe { text(token) }.map_err(|_| "no token was given".to_owned())?;
        if token != source.token {
            return Err(format!(
                "the token is {token}, but what lies in the resources makes {}: they belong to \
                 another unit, or another version of this program",
                source.token
            ));
        }
        let bound = Bound::new(Arc::new(source))?;
        Ok(Handle { bound, log: log.clone(), words: Vec::new(), broken: false })
    }));
    match result {
        Ok(Ok(handle)) => return Box::into_raw(Box::new(handle)),
        Ok(Err(why)) => log.say(ERROR, &why),
        Err(_) => log.say(ERROR, "a panic: please report it"),
    }
    std::ptr::null_mut()
}

/// Give an instance back.
///
/// # Safety
/// It is null, or was [made](made) and not given back, and no other call is under way on it.
pub(crate) unsafe fn freed(at: *mut Handle) {
    if !at.is_null() && at.is_aligned() {
        // SAFETY: It came out of a box, and comes back once.
        let handle = unsafe { Box::from_raw(at) };
        let _ = catch_unwind(AssertUnwindSafe(|| drop(handle)));
    }
}

/// Do something with an instance; what goes wrong is told and becomes a status.
///
/// # Safety
/// It is null, or was [made](made) and not given back, and no other call is under way on it.
pub(crate) unsafe fn on(
    at: *mut Handle,
    act: impl FnOnce(&mut Handle) -> Result<(), Fault>,
) -> c_int {
    // SAFETY: As promised; a null pointer or a misaligned one is met here.
    let handle = if at.is_aligned() { unsafe { at.as_mut() } } else { None };
    let Some(handle) = handle else { return ERROR };
    if handle.broken {
        handle.log.say(ERROR, "this instance met a panic before: free it");
        return ERROR;
    }
    match catch_unwind(AssertUnwindSafe(|| act(&mut *handle))) {
        Ok(Ok(())) => OK,
        Ok(Err(fault)) => handle.log.fault(&fault),
        Err(_) => {
            handle.broken = true;
            handle.log.say(ERROR, "a panic: please report it");
            ERROR
        }
    }
}

/// The same with the session alone.
///
/// # Safety
/// As [`on`].
pub(crate) unsafe fn session(
    at: *mut Handle,
    act: impl for<'s> FnOnce(&mut Session<'s>) -> Result<(), Fault>,
) -> c_int {
    // SAFETY: As promised.
    unsafe { on(at, |handle| handle.bound.with(act)) }
}

/// Read variables into the caller's memory; none is written when one cannot be read.
///
/// # Safety
/// As [`on`]; `references` leads to `count` references and `values` to room for as many values.
pub(crate) unsafe fn get<T>(
    at: *mut Handle,
    references: *const u32,
    count: usize,
    values: *mut T,
    convert: impl Fn(Kind, &Value) -> Option<T>,
) -> c_int {
    let act = |session: &mut Session| {
        // SAFETY: As promised.
        let references = unsafe { list(references, count) }?;
        let mut found = Vec::with_capacity(count);
        for reference in references {
            found.push(read(session, *reference, &convert)?);
        }
        // SAFETY: As promised: there is one value for each reference.
        unsafe { write(values, found) }
    };
    // SAFETY: As promised.
    unsafe { session(at, act) }
}

fn read<T>(
    session: &mut Session,
    reference: u32,
    convert: &impl Fn(Kind, &Value) -> Option<T>,
) -> Result<T, Fault> {
    let kind = session.variables().list.get(reference as usize).map(|v| v.kind);
    let value = session.get(reference)?;
    kind.and_then(|kind| convert(kind, value)).ok_or_else(|| other_type(reference))
}

fn other_type(reference: u32) -> Fault {
    Fault::Error(format!("the variable with reference {reference} is of another type"))
}

/// Read variables that are words. They stand until the next call.
///
/// # Safety
/// As [`get`].
pub(crate) unsafe fn get_words(
    at: *mut Handle,
    references: *const u32,
    count: usize,
    values: *mut *const c_char,
) -> c_int {
    let act = |handle: &mut Handle| {
        // SAFETY: As promised.
        let references = unsafe { list(references, count) }?;
        let words = handle.bound.with(|session| {
            let word = |_: Kind, value: &Value| match value {
                Value::Text(text) => Some(c_text(text)),
                _ => None,
            };
            references.iter().map(|r| read(session, *r, &word)).collect::<Result<Vec<_>, _>>()
        })?;
        handle.words = words;
        // SAFETY: As promised.
        unsafe { write(values, handle.words.iter().map(|word| word.as_ptr()).collect()) }
    };
    // SAFETY: As promised.
    unsafe { on(at, act) }
}

/// Set variables from the caller's memory; none is set when one cannot be.
///
/// # Safety
/// As [`on`]; `references` leads to `count` references and `values` to as many values.
pub(crate) unsafe fn set<T: Copy>(
    at: *mut Handle,
    references: *const u32,
    count: usize,
    values: *const T,
    convert: impl Fn(Kind, T) -> Option<Value>,
) -> c_int {
    let act = |session: &mut Session| {
        // SAFETY: As promised.
        let (references, values) = unsafe { (list(references, count)?, list(values, count)?) };
        let mut all = Vec::with_capacity(count);
        for (reference, value) in references.iter().zip(values) {
            let known = session.variables().list.get(*reference as usize);
            let kind = known.map(|v| v.kind).ok_or_else(|| {
                Fault::Error(format!("there is no variable with reference {reference}"))
            })?;
            let value = convert(kind, *value).ok_or_else(|| other_type(*reference))?;
            session.may_set(*reference, &value)?;
            all.push((*reference, value));
        }
        all.into_iter().try_for_each(|(reference, value)| session.set(reference, value))
    };
    // SAFETY: As promised.
    unsafe { session(at, act) }
}

/// Set variables that are words.
///
/// # Safety
/// As [`set`]; each value is a text.
pub(crate) unsafe fn set_words(
    at: *mut Handle,
    references: *const u32,
    count: usize,
    values: *const *const c_char,
) -> c_int {
    let word = |kind, value: *const c_char| {
        // SAFETY: As promised.
        let text = unsafe { text(value) }.ok()?;
        (kind == Kind::Text).then(|| Value::Text(text.to_owned()))
    };
    // SAFETY: As promised.
    unsafe { set(at, references, count, values, word) }
}

/// Variables of a type of which there is none.
///
/// # Safety
/// As [`on`].
pub(crate) unsafe fn none_of(at: *mut Handle, count: usize, what: &str) -> c_int {
    let act = |_: &mut Handle| match count {
        0 => Ok(()),
        _ => Err(Fault::Error(format!("this unit has no variable of type {what}"))),
    };
    // SAFETY: As promised.
    unsafe { on(at, act) }
}

/// A function that this kind of unit does not have.
///
/// # Safety
/// As [`on`].
pub(crate) unsafe fn absent(at: *mut Handle, name: &str) -> c_int {
    // SAFETY: As promised.
    unsafe { on(at, |_| Err(Fault::Error(format!("{name} is not what this unit can do")))) }
}

/// Save the state, in a new box or in the one that is there.
///
/// # Safety
/// As [`on`]; `slot` is null or leads to null or to a saved state.
pub(crate) unsafe fn save(at: *mut Handle, slot: *mut *mut c_void) -> c_int {
    let act = |handle: &mut Handle| {
        if slot.is_null() || !slot.is_aligned() {
            return Err(null());
        }
        let saved = Saved(handle.bound.clone());
        // SAFETY: The slot is there, and what it leads to is null or came out of a box here.
        unsafe {
            match (*slot).cast::<Saved>().as_mut() {
                Some(old) => *old = saved,
                None => *slot = Box::into_raw(Box::new(saved)).cast(),
            }
        }
        Ok(())
    };
    // SAFETY: As promised.
    unsafe { on(at, act) }
}

/// Go back to a saved state.
///
/// # Safety
/// As [`on`]; `saved` is null or a saved state.
pub(crate) unsafe fn restore(at: *mut Handle, saved: *mut c_void) -> c_int {
    let act = |handle: &mut Handle| {
        // SAFETY: As promised.
        let saved = unsafe { saved.cast::<Saved>().as_ref() }.ok_or_else(null)?;
        if !saved.0.is_kin(&handle.bound) {
            return Err(Fault::Error("the state is of another instance".to_owned()));
        }
        handle.bound = saved.0.clone();
        Ok(())
    };
    // SAFETY: As promised.
    unsafe { on(at, act) }
}

/// Give a saved state back.
///
/// # Safety
/// As [`save`].
pub(crate) unsafe fn forget(at: *mut Handle, slot: *mut *mut c_void) -> c_int {
    let act = |_: &mut Handle| {
        if slot.is_null() || !slot.is_aligned() {
            return Err(null());
        }
        // SAFETY: The slot is there, and what it leads to is null or came out of a box here.
        unsafe {
            if !(*slot).is_null() {
                drop(Box::from_raw((*slot).cast::<Saved>()));
                *slot = std::ptr::null_mut();
            }
        }
        Ok(())
    };
    // SAFETY: As promised.
    unsafe { on(at, act) }
}

/// How values become those of the standard's types, and back.
pub(crate) mod values {
    use super::{Kind, Value};

    pub(crate) fn real(_: Kind, value: &Value) -> Option<f64> {
        if let Value::Real(x) = value { Some(*x) } else { None }
    }

    pub(crate) fn of_real(_: Kind, value: f64) -> Option<Value> {
        Some(Value::Real(value))
    }

    /// Whole numbers alone.
    pub(crate) fn whole(kind: Kind, value: &Value) -> Option<i32> {
        match (kind, value) {
            (Kind::Whole, Value::Whole(n)) => Some(*n),
            _ => None,
        }
    }

    pub(crate) fn of_whole(kind: Kind, value: i32) -> Option<Value> {
        (kind == Kind::Whole).then_some(Value::Whole(value))
    }

    /// Choices alone.
    pub(crate) fn choice(kind: Kind, value: &Value) -> Option<i64> {
        match (kind, value) {
            (Kind::Choice(_), Value::Whole(n)) => Some(i64::from(*n)),
            _ => None,
        }
    }

    pub(crate) fn of_choice(kind: Kind, value: i64) -> Option<Value> {
        let number = i32::try_from(value).ok()?;
        matches!(kind, Kind::Choice(_)).then_some(Value::Whole(number))
    }

    /// Whole numbers and choices.
    pub(crate) fn number(_: Kind, value: &Value) -> Option<i32> {
        if let Value::Whole(n) = value { Some(*n) } else { None }
    }

    pub(crate) fn of_number(_: Kind, value: i32) -> Option<Value> {
        Some(Value::Whole(value))
    }

    pub(crate) fn truth(_: Kind, value: &Value) -> Option<bool> {
        if let Value::Truth(yes) = value { Some(*yes) } else { None }
    }
}
