//! Messages to the caller.

use std::ffi::{CStr, CString, c_char, c_int, c_void};

use host_sim::export::Fault;

/// `fmi2CallbackLogger`: it formats as C's `printf` does.
pub(crate) type Logger2 =
    unsafe extern "C" fn(*mut c_void, *const c_char, c_int, *const c_char, *const c_char, ...);
/// `fmi3LogMessageCallback`.
pub(crate) type Logger3 = unsafe extern "C" fn(*mut c_void, c_int, *const c_char, *const c_char);

/// Who hears messages.
#[derive(Clone)]
pub(crate) enum Log {
    Nobody,
    Two(Logger2, *mut c_void, CString),
    Three(Logger3, *mut c_void),
}

const CATEGORY: &CStr = c"logStatusError";

/// As a text of C; a zero inside becomes a space.
pub(crate) fn c_text(text: &str) -> CString {
    CString::new(text.replace('\0', " ")).unwrap_or_default()
}

impl Log {
    pub(crate) fn say(&self, status: c_int, text: &str) {
        match self {
            Log::Nobody => {}
            Log::Two(logger, environment, name) => {
                // The message is a format: nothing in it may ask for an argument.
                let text = c_text(&text.replace('%', "%%"));
                // SAFETY: The caller gave this function and environment for it; the texts live
                // through the call, and a format without `%` takes no further argument.
                unsafe {
                    logger(*environment, name.as_ptr(), status, CATEGORY.as_ptr(), text.as_ptr());
                }
            }
            Log::Three(logger, environment) => {
                let text = c_text(text);
                // SAFETY: The same, without a format.
                unsafe { logger(*environment, status, CATEGORY.as_ptr(), text.as_ptr()) };
            }
        }
    }

    pub(crate) fn fault(&self, fault: &Fault) -> c_int {
        let (status, text) = match fault {
            Fault::Discard(text) => (DISCARD, text),
            Fault::Error(text) => (ERROR, text),
        };
        self.say(status, text);
        status
    }
}

/// Done.
pub(crate) const OK: c_int = 0;
/// Not done; something else may be.
pub(crate) const DISCARD: c_int = 2;
/// Not done: the call was wrong.
pub(crate) const ERROR: c_int = 3;
