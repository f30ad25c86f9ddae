//! The functions of FMI 2.0 for co-simulation (FMI 2.0.4, chapters 2.1 and 4.2).
#![allow(non_snake_case)]

use std::ffi::{c_char, c_int, c_uint, c_void};

use host_sim::export::{Fault, Value};

use crate::handle::{
    Handle, absent, forget, freed, get, get_words, made, on, restore, save, session, set,
    set_words, values,
};
use crate::logger::{DISCARD, ERROR, Log, Logger2, OK, c_text};
use crate::memory::{list, tell, text};
use crate::resources::path_of;

/// `fmi2CallbackFunctions`. Memory is our own, so that only the logger is called.
#[repr(C)]
#[derive(Clone, Copy)]
#[expect(missing_docs, reason = "the standard's names")]
pub struct fmi2CallbackFunctions {
    pub logger: Option<Logger2>,
    pub allocateMemory: Option<unsafe extern "C" fn(usize, usize) -> *mut c_void>,
    pub freeMemory: Option<unsafe extern "C" fn(*mut c_void)>,
    pub stepFinished: Option<unsafe extern "C" fn(*mut c_void, c_int)>,
    pub componentEnvironment: *mut c_void,
}

/// `fmi2CoSimulation`.
const CO_SIMULATION: c_int = 1;
/// `fmi2LastSuccessfulTime` and `fmi2Terminated`.
const LAST_SUCCESSFUL_TIME: c_int = 2;
const TERMINATED: c_int = 3;

/// Functions of the standard over an instance. Safe to call as the standard says: the instance is
/// one of ours, no other call is under way on it, and pointers lead to as many values as told.
macro_rules! functions {
    ($($name:ident($c:ident $(, $arg:ident: $type:ty)*) $body:block)*) => { $(
        #[doc = concat!("`", stringify!($name), "`.")]
        ///
        /// # Safety
        /// As the standard says of instance and pointers.
        #[unsafe(no_mangle)]
        pub unsafe extern "C" fn $name($c: *mut Handle $(, $arg: $type)*) -> c_int {
            // SAFETY: The standard promises what the functions below ask for.
            unsafe { $body }
        }
    )* };
}
pub(crate) use functions;

/// `fmi2GetTypesPlatform`.
#[unsafe(no_mangle)]
pub extern "C" fn fmi2GetTypesPlatform() -> *const c_char {
    c"default".as_ptr()
}

/// `fmi2GetVersion`.
#[unsafe(no_mangle)]
pub extern "C" fn fmi2GetVersion() -> *const c_char {
    c"2.0".as_ptr()
}

/// `fmi2Instantiate`.
///
/// # Safety
/// As the standard says of its texts and functions.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi2Instantiate(
    instanceName: *const c_char,
    fmuType: c_int,
    fmuGUID: *const c_char,
    fmuResourceLocation: *const c_char,
    functions: *const fmi2CallbackFunctions,
    _visible: c_int,
    _loggingOn: c_int,
) -> *mut Handle {
    // SAFETY: The standard promises a name, functions and a location.
    let (name, functions) = unsafe { (text(instanceName), list(functions, 1)) };
    let Ok([functions]) = functions else { return std::ptr::null_mut() };
    let log = match functions.logger {
        Some(logger) => {
            Log::Two(logger, functions.componentEnvironment, c_text(name.unwrap_or("")))
        }
        None => Log::Nobody,
    };
    if fmuType != CO_SIMULATION {
        log.say(ERROR, "this unit is for co-simulation only");
        return std::ptr::null_mut();
    }
    made(log, fmuGUID, || {
        // SAFETY: As above.
        let location = unsafe { text(fmuResourceLocation) };
        path_of(location.map_err(|_| "no place of the resources was given".to_owned())?)
    })
}

/// `fmi2FreeInstance`.
///
/// # Safety
/// As the standard says: the instance is one of ours and comes back once.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi2FreeInstance(c: *mut Handle) {
    // SAFETY: As promised.
    unsafe { freed(c) }
}

functions! {
    fmi2SetDebugLogging(c, _loggingOn: c_int, _n: usize, _categories: *const *const c_char) {
        // What fails is told always; there is nothing else to tell.
        on(c, |_| Ok(()))
    }

    fmi2SetupExperiment(
        c,
        _toleranceDefined: c_int,
        _tolerance: f64,
        startTime: f64,
        stopTimeDefined: c_int,
        stopTime: f64
    ) {
        session(c, |s| s.set_up(startTime, (stopTimeDefined != 0).then_some(stopTime)))
    }

    fmi2EnterInitializationMode(c) { session(c, |s| s.enter_initialisation()) }
    fmi2ExitInitializationMode(c) { session(c, |s| s.exit_initialisation()) }
    fmi2Terminate(c) { session(c, |s| s.end()) }
    fmi2Reset(c) { session(c, |s| s.reset()) }

    fmi2GetReal(c, vr: *const c_uint, nvr: usize, value: *mut f64) {
        get(c, vr, nvr, value, values::real)
    }
    fmi2GetInteger(c, vr: *const c_uint, nvr: usize, value: *mut c_int) {
        get(c, vr, nvr, value, values::number)
    }
    fmi2GetBoolean(c, vr: *const c_uint, nvr: usize, value: *mut c_int) {
        get(c, vr, nvr, value, |kind, v| values::truth(kind, v).map(c_int::from))
    }
    fmi2GetString(c, vr: *const c_uint, nvr: usize, value: *mut *const c_char) {
        get_words(c, vr, nvr, value)
    }
    fmi2SetReal(c, vr: *const c_uint, nvr: usize, value: *const f64) {
        set(c, vr, nvr, value, values::of_real)
    }
    fmi2SetInteger(c, vr: *const c_uint, nvr: usize, value: *const c_int) {
        set(c, vr, nvr, value, values::of_number)
    }
    fmi2SetBoolean(c, vr: *const c_uint, nvr: usize, value: *const c_int) {
        set(c, vr, nvr, value, |_, yes| Some(Value::Truth(yes != 0)))
    }
    fmi2SetString(c, vr: *const c_uint, nvr: usize, value: *const *const c_char) {
        set_words(c, vr, nvr, value)
    }

    fmi2GetFMUstate(c, FMUstate: *mut *mut c_void) { save(c, FMUstate) }
    fmi2SetFMUstate(c, FMUstate: *mut c_void) { restore(c, FMUstate) }
    fmi2FreeFMUstate(c, FMUstate: *mut *mut c_void) { forget(c, FMUstate) }
    fmi2SerializedFMUstateSize(c, _FMUstate: *mut c_void, _size: *mut usize) {
        absent(c, "fmi2SerializedFMUstateSize")
    }
    fmi2SerializeFMUstate(c, _FMUstate: *mut c_void, _bytes: *mut c_char, _size: usize) {
        absent(c, "fmi2SerializeFMUstate")
    }
    fmi2DeSerializeFMUstate(
        c,
        _bytes: *const c_char,
        _size: usize,
        _FMUstate: *mut *mut c_void
    ) {
        absent(c, "fmi2DeSerializeFMUstate")
    }

    fmi2GetDirectionalDerivative(
        c,
        _vUnknown: *const c_uint,
        _nUnknown: usize,
        _vKnown: *const c_uint,
        _nKnown: usize,
        _dvKnown: *const f64,
        _dvUnknown: *mut f64
    ) {
        absent(c, "fmi2GetDirectionalDerivative")
    }
    fmi2SetRealInputDerivatives(
        c,
        _vr: *const c_uint,
        _nvr: usize,
        _order: *const c_int,
        _value: *const f64
    ) {
        absent(c, "fmi2SetRealInputDerivatives")
    }
    fmi2GetRealOutputDerivatives(
        c,
        _vr: *const c_uint,
        _nvr: usize,
        _order: *const c_int,
        _value: *mut f64
    ) {
        absent(c, "fmi2GetRealOutputDerivatives")
    }

    fmi2DoStep(
        c,
        currentCommunicationPoint: f64,
        communicationStepSize: f64,
        _noSetFMUStatePriorToCurrentPoint: c_int
    ) {
        session(c, |s| s.step(currentCommunicationPoint, communicationStepSize))
    }
    fmi2CancelStep(c) { absent(c, "fmi2CancelStep") }

    // Steps are done when they return: there is no status to wait for.
    fmi2GetStatus(c, _s: c_int, _value: *mut c_int) { discard(c) }
    fmi2GetIntegerStatus(c, _s: c_int, _value: *mut c_int) { discard(c) }
    fmi2GetStringStatus(c, _s: c_int, _value: *mut *const c_char) { discard(c) }
    fmi2GetRealStatus(c, s: c_int, value: *mut f64) {
        if s != LAST_SUCCESSFUL_TIME {
            return discard(c);
        }
        session(c, |unit| {
            tell(value, unit.time_s());
            Ok(())
        })
    }
    fmi2GetBooleanStatus(c, s: c_int, value: *mut c_int) {
        if s != TERMINATED {
            return discard(c);
        }
        session(c, |_| {
            tell(value, 0);
            Ok(())
        })
    }
}

/// There is no such status.
unsafe fn discard(c: *mut Handle) -> c_int {
    // SAFETY: As the caller was promised.
    match unsafe { on(c, |_: &mut Handle| -> Result<(), Fault> { Ok(()) }) } {
        OK => DISCARD,
        other => other,
    }
}
