//! Memory of the caller. Null and misaligned pointers are met; others must be as the standard says.

use std::ffi::{CStr, c_char};

use host_sim::export::Fault;

/// What to say of a pointer that leads nowhere.
pub(crate) fn null() -> Fault {
    Fault::Error("a null or misaligned pointer".to_owned())
}

/// Values of the caller, to read.
///
/// # Safety
/// `at` is null, or leads to `count` values that nobody changes during this call.
pub(crate) unsafe fn list<'a, T: Copy>(at: *const T, count: usize) -> Result<&'a [T], Fault> {
    if count == 0 {
        return Ok(&[]);
    }
    let fits = count.checked_mul(size_of::<T>()).is_some_and(|size| size <= isize::MAX as usize);
    if at.is_null() || !at.is_aligned() || !fits {
        return Err(null());
    }
    // SAFETY: Neither null nor misaligned nor too long, as checked; the rest is promised.
    Ok(unsafe { std::slice::from_raw_parts(at, count) })
}

/// Write values to the caller. What was there may never have been set, so that it is not read.
///
/// # Safety
/// `at` is null, or leads to room for as many values as there are.
pub(crate) unsafe fn write<T>(at: *mut T, values: Vec<T>) -> Result<(), Fault> {
    if values.is_empty() {
        return Ok(());
    }
    if at.is_null() || !at.is_aligned() {
        return Err(null());
    }
    for (i, value) in values.into_iter().enumerate() {
        // SAFETY: Within the room that is promised.
        unsafe { at.add(i).write(value) };
    }
    Ok(())
}

/// Write one value, where the caller wants it.
///
/// # Safety
/// `at` is null, or leads to room for a value.
pub(crate) unsafe fn tell<T>(at: *mut T, value: T) {
    if !at.is_null() && at.is_aligned() {
        // SAFETY: Checked, and the rest is promised.
        unsafe { at.write(value) };
    }
}

/// A text of the caller.
///
/// # Safety
/// `at` is null, or leads to a text that ends with a zero and that nobody changes during this call.
pub(crate) unsafe fn text<'a>(at: *const c_char) -> Result<&'a str, Fault> {
    if at.is_null() {
        return Err(null());
    }
    // SAFETY: Not null; the rest is promised.
    let text = unsafe { CStr::from_ptr(at) };
    text.to_str().map_err(|_| Fault::Error("a text is not UTF-8".to_owned()))
}
