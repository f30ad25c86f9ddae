//! The functions of FMI 3.0 (FMI 3.0.1, chapters 2.2 and 4.2). Those for model exchange, scheduled
//! execution, clocks and derivatives must be there and say that this unit has none.
#![allow(non_snake_case)]

use std::ffi::{c_char, c_int, c_uint, c_void};

use host_sim::export::{Fault, Value};

use crate::fmi2::functions;
use crate::handle::{
    Handle, absent, forget, freed, get, get_words, made, none_of, on, restore, save, session, set,
    set_words, values,
};
use crate::logger::{ERROR, Log, Logger3};
use crate::memory::{tell, text};

/// `fmi3Boolean`: C's `bool`. As a byte, because one that is neither 0 nor 1 may come.
type Boolean = u8;
/// `fmi3ValueReference`.
type Reference = c_uint;
type References = *const Reference;

/// `fmi3GetVersion`.
#[unsafe(no_mangle)]
pub extern "C" fn fmi3GetVersion() -> *const c_char {
    c"3.0".as_ptr()
}

fn log_of(logMessage: Option<Logger3>, instanceEnvironment: *mut c_void) -> Log {
    logMessage.map_or(Log::Nobody, |logger| Log::Three(logger, instanceEnvironment))
}

/// `fmi3InstantiateCoSimulation`.
///
/// # Safety
/// As the standard says of its texts and functions.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi3InstantiateCoSimulation(
    _instanceName: *const c_char,
    instantiationToken: *const c_char,
    resourcePath: *const c_char,
    _visible: Boolean,
    _loggingOn: Boolean,
    eventModeUsed: Boolean,
    _earlyReturnAllowed: Boolean,
    _requiredIntermediateVariables: References,
    nRequiredIntermediateVariables: usize,
    instanceEnvironment: *mut c_void,
    logMessage: Option<Logger3>,
    _intermediateUpdate: *const c_void,
) -> *mut Handle {
    let log = log_of(logMessage, instanceEnvironment);
    if eventModeUsed != 0 || nRequiredIntermediateVariables != 0 {
        log.say(ERROR, "this unit has neither an event mode nor intermediate variables");
        return std::ptr::null_mut();
    }
    made(log, instantiationToken, || {
        // SAFETY: The standard promises a path.
        let path = unsafe { text(resourcePath) };
        Ok(path.map_err(|_| "no place of the resources was given".to_owned())?.into())
    })
}

/// `fmi3InstantiateModelExchange`: there is none.
///
/// # Safety
/// As the standard says of its texts and functions.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi3InstantiateModelExchange(
    _instanceName: *const c_char,
    _instantiationToken: *const c_char,
    _resourcePath: *const c_char,
    _visible: Boolean,
    _loggingOn: Boolean,
    instanceEnvironment: *mut c_void,
    logMessage: Option<Logger3>,
) -> *mut Handle {
    let log = log_of(logMessage, instanceEnvironment);
    log.say(ERROR, "this unit is for co-simulation only");
    std::ptr::null_mut()
}

/// `fmi3InstantiateScheduledExecution`: there is none.
///
/// # Safety
/// As the standard says of its texts and functions.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi3InstantiateScheduledExecution(
    _instanceName: *const c_char,
    _instantiationToken: *const c_char,
    _resourcePath: *const c_char,
    _visible: Boolean,
    _loggingOn: Boolean,
    instanceEnvironment: *mut c_void,
    logMessage: Option<Logger3>,
    _clockUpdate: *const c_void,
    _lockPreemption: *const c_void,
    _unlockPreemption: *const c_void,
) -> *mut Handle {
    let log = log_of(logMessage, instanceEnvironment);
    log.say(ERROR, "this unit is for co-simulation only");
    std::ptr::null_mut()
}

/// `fmi3FreeInstance`.
///
/// # Safety
/// As the standard says: the instance is one of ours and comes back once.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fmi3FreeInstance(instance: *mut Handle) {
    // SAFETY: As promised.
    unsafe { freed(instance) }
}

functions! {
    fmi3SetDebugLogging(i, _loggingOn: Boolean, _n: usize, _categories: *const *const c_char) {
        // What fails is told always; there is nothing else to tell.
        on(i, |_| Ok(()))
    }
    fmi3EnterInitializationMode(
        i,
        _toleranceDefined: Boolean,
        _tolerance: f64,
        startTime: f64,
        stopTimeDefined: Boolean,
        stopTime: f64
    ) {
        session(i, |s| {
            s.set_up(startTime, (stopTimeDefined != 0).then_some(stopTime))?;
            s.enter_initialisation()
        })
    }
    fmi3ExitInitializationMode(i) { session(i, |s| s.exit_initialisation()) }
    fmi3Terminate(i) { session(i, |s| s.end()) }
    fmi3Reset(i) { session(i, |s| s.reset()) }
    fmi3DoStep(
        i,
        currentCommunicationPoint: f64,
        communicationStepSize: f64,
        _noSetFMUStatePriorToCurrentPoint: Boolean,
        eventHandlingNeeded: *mut Boolean,
        terminateSimulation: *mut Boolean,
        earlyReturn: *mut Boolean,
        lastSuccessfulTime: *mut f64
    ) {
        session(i, |s| {
            let done = s.step(currentCommunicationPoint, communicationStepSize);
            tell(eventHandlingNeeded, 0);
            tell(terminateSimulation, 0);
            tell(earlyReturn, 0);
            tell(lastSuccessfulTime, s.time_s());
            done
        })
    }

    fmi3GetFloat64(i, vr: References, nvr: usize, value: *mut f64, n: usize) {
        if n != nvr { return uneven(i) }
        get(i, vr, nvr, value, values::real)
    }
    fmi3SetFloat64(i, vr: References, nvr: usize, value: *const f64, n: usize) {
        if n != nvr { return uneven(i) }
        set(i, vr, nvr, value, values::of_real)
    }
    fmi3GetInt32(i, vr: References, nvr: usize, value: *mut i32, n: usize) {
        if n != nvr { return uneven(i) }
        get(i, vr, nvr, value, values::whole)
    }
    fmi3SetInt32(i, vr: References, nvr: usize, value: *const i32, n: usize) {
        if n != nvr { return uneven(i) }
        set(i, vr, nvr, value, values::of_whole)
    }
    // Choices have this type.
    fmi3GetInt64(i, vr: References, nvr: usize, value: *mut i64, n: usize) {
        if n != nvr { return uneven(i) }
        get(i, vr, nvr, value, values::choice)
    }
    fmi3SetInt64(i, vr: References, nvr: usize, value: *const i64, n: usize) {
        if n != nvr { return uneven(i) }
        set(i, vr, nvr, value, values::of_choice)
    }
    fmi3GetBoolean(i, vr: References, nvr: usize, value: *mut Boolean, n: usize) {
        if n != nvr { return uneven(i) }
        get(i, vr, nvr, value, |kind, v| values::truth(kind, v).map(Boolean::from))
    }
    fmi3SetBoolean(i, vr: References, nvr: usize, value: *const Boolean, n: usize) {
        if n != nvr { return uneven(i) }
        set(i, vr, nvr, value, |_, yes| Some(Value::Truth(yes != 0)))
    }
    fmi3GetString(i, vr: References, nvr: usize, value: *mut *const c_char, n: usize) {
        if n != nvr { return uneven(i) }
        get_words(i, vr, nvr, value)
    }
    fmi3SetString(i, vr: References, nvr: usize, value: *const *const c_char, n: usize) {
        if n != nvr { return uneven(i) }
        set_words(i, vr, nvr, value)
    }

    fmi3GetFMUState(i, FMUState: *mut *mut c_void) { save(i, FMUState) }
    fmi3SetFMUState(i, FMUState: *mut c_void) { restore(i, FMUState) }
    fmi3FreeFMUState(i, FMUState: *mut *mut c_void) { forget(i, FMUState) }
    fmi3SerializedFMUStateSize(i, _FMUState: *mut c_void, _size: *mut usize) {
        absent(i, "fmi3SerializedFMUStateSize")
    }
    fmi3SerializeFMUState(i, _FMUState: *mut c_void, _bytes: *mut u8, _size: usize) {
        absent(i, "fmi3SerializeFMUState")
    }
    fmi3DeserializeFMUState(i, _bytes: *const u8, _size: usize, _FMUState: *mut *mut c_void) {
        absent(i, "fmi3DeserializeFMUState")
    }
    fmi3GetNumberOfContinuousStates(i, nContinuousStates: *mut usize) {
        on(i, |_| {
            tell(nContinuousStates, 0);
            Ok(())
        })
    }
    fmi3GetNumberOfEventIndicators(i, nEventIndicators: *mut usize) {
        on(i, |_| {
            tell(nEventIndicators, 0);
            Ok(())
        })
    }
}

/// Each of our variables is one value.
unsafe fn uneven(i: *mut Handle) -> c_int {
    let why = "there must be as many values as references: no variable is an array";
    // SAFETY: As the caller was promised.
    unsafe { on(i, |_| Err(Fault::Error(why.to_owned()))) }
}

/// Types of which there is no variable.
macro_rules! typeless {
    ($($get:ident $set:ident $name:literal)*) => { functions! { $(
        $get(i, _vr: References, nvr: usize, _value: *mut c_void, _n: usize) {
            none_of(i, nvr, $name)
        }
        $set(i, _vr: References, nvr: usize, _value: *const c_void, _n: usize) {
            none_of(i, nvr, $name)
        }
    )* } };
}

typeless! {
    fmi3GetFloat32 fmi3SetFloat32 "Float32"
    fmi3GetInt8 fmi3SetInt8 "Int8"
    fmi3GetUInt8 fmi3SetUInt8 "UInt8"
    fmi3GetInt16 fmi3SetInt16 "Int16"
    fmi3GetUInt16 fmi3SetUInt16 "UInt16"
    fmi3GetUInt32 fmi3SetUInt32 "UInt32"
    fmi3GetUInt64 fmi3SetUInt64 "UInt64"
}

functions! {
    fmi3GetBinary(i, _vr: References, n: usize, _s: *mut usize, _v: *mut c_void, _values: usize) {
        none_of(i, n, "Binary")
    }
    fmi3SetBinary(i, _vr: References, n: usize, _s: *const usize, _v: *const c_void, _values: usize) {
        none_of(i, n, "Binary")
    }
    fmi3GetClock(i, _vr: References, n: usize, _values: *mut c_void) { none_of(i, n, "Clock") }
    fmi3SetClock(i, _vr: References, n: usize, _values: *const c_void) { none_of(i, n, "Clock") }
}

/// Functions that a unit of this kind does not have, whatever their arguments.
macro_rules! missing {
    ($($name:ident($($arg:ident: $type:ty),*);)*) => { functions! { $(
        $name(i $(, $arg: $type)*) { absent(i, stringify!($name)) }
    )* } };
}

missing! {
    fmi3EnterEventMode();
    fmi3EnterConfigurationMode();
    fmi3ExitConfigurationMode();
    fmi3EvaluateDiscreteStates();
    fmi3EnterContinuousTimeMode();
    fmi3EnterStepMode();
    fmi3SetTime(_time: f64);
    fmi3SetContinuousStates(_states: *const f64, _n: usize);
    fmi3GetContinuousStates(_states: *mut f64, _n: usize);
    fmi3GetContinuousStateDerivatives(_derivatives: *mut f64, _n: usize);
    fmi3GetNominalsOfContinuousStates(_nominals: *mut f64, _n: usize);
    fmi3GetEventIndicators(_indicators: *mut f64, _n: usize);
    fmi3CompletedIntegratorStep(_none: Boolean, _event: *mut Boolean, _end: *mut Boolean);
    fmi3UpdateDiscreteStates(
        _more: *mut Boolean,
        _end: *mut Boolean,
        _nominals: *mut Boolean,
        _values: *mut Boolean,
        _defined: *mut Boolean,
        _time: *mut f64
    );
    fmi3GetNumberOfVariableDependencies(_of: Reference, _n: *mut usize);
    fmi3GetVariableDependencies(
        _dependent: Reference,
        _elements: *mut usize,
        _independents: *mut Reference,
        _others: *mut usize,
        _kinds: *mut c_int,
        _n: usize
    );
    fmi3GetDirectionalDerivative(
        _unknowns: References,
        _nUnknowns: usize,
        _knowns: References,
        _nKnowns: usize,
        _seed: *const f64,
        _nSeed: usize,
        _sensitivity: *mut f64,
        _nSensitivity: usize
    );
    fmi3GetAdjointDerivative(
        _unknowns: References,
        _nUnknowns: usize,
        _knowns: References,
        _nKnowns: usize,
        _seed: *const f64,
        _nSeed: usize,
        _sensitivity: *mut f64,
        _nSensitivity: usize
    );
    fmi3GetOutputDerivatives(
        _vr: References,
        _n: usize,
        _orders: *const i32,
        _values: *mut f64,
        _nValues: usize
    );
    fmi3ActivateModelPartition(_clock: Reference, _time: f64);
    fmi3GetIntervalDecimal(_vr: References, _n: usize, _intervals: *mut f64, _q: *mut c_int);
    fmi3GetIntervalFraction(
        _vr: References,
        _n: usize,
        _counters: *mut u64,
        _resolutions: *mut u64,
        _q: *mut c_int
    );
    fmi3GetShiftDecimal(_vr: References, _n: usize, _shifts: *mut f64);
    fmi3GetShiftFraction(_vr: References, _n: usize, _counters: *mut u64, _res: *mut u64);
    fmi3SetIntervalDecimal(_vr: References, _n: usize, _intervals: *const f64);
    fmi3SetIntervalFraction(_vr: References, _n: usize, _counters: *const u64, _res: *const u64);
    fmi3SetShiftDecimal(_vr: References, _n: usize, _shifts: *const f64);
    fmi3SetShiftFraction(_vr: References, _n: usize, _counters: *const u64, _res: *const u64);
}
