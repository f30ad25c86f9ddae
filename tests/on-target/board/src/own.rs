//! Memory that belongs to one context (one interrupt handler, or the main loop) alone.

use core::cell::UnsafeCell;

/// A value that one context uses, after another has put it there before that context ran.
pub struct Own<T>(UnsafeCell<Option<T>>);

// SAFETY: `get` may be called from one context only, which its caller promises.
unsafe impl<T> Sync for Own<T> {}

impl<T> Own<T> {
    /// Nothing yet.
    pub const fn new() -> Own<T> {
        Own(UnsafeCell::new(None))
    }

    /// The value.
    ///
    /// # Safety
    /// No other reference from this may be alive: call it from one context only, or before
    /// that context can run.
    #[allow(clippy::mut_from_ref)]
    pub unsafe fn get(&self) -> &mut Option<T> {
        // SAFETY: as promised by the caller.
        unsafe { &mut *self.0.get() }
    }
}

impl<T> Default for Own<T> {
    fn default() -> Own<T> {
        Own::new()
    }
}
