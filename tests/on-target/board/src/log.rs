//! Events by defmt, over a serial port. Written without a panic path.

use crate::own::Own;
use crate::uart::EVENTS;

static ENCODER: Own<defmt::Encoder> = Own::new();
static RESTORE: Own<critical_section::RestoreState> = Own::new();

#[defmt::global_logger]
struct Logger;

// SAFETY: frames are written without interrupts, so that none is within another.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        // SAFETY: released in `release`; all between runs without interrupts.
        let restore = unsafe { critical_section::acquire() };
        // SAFETY: without interrupts there is one context.
        unsafe {
            *RESTORE.get() = Some(restore);
            ENCODER.get().get_or_insert_with(defmt::Encoder::new).start_frame(|b| EVENTS.send(b));
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        // SAFETY: still without interrupts.
        unsafe {
            if let Some(encoder) = ENCODER.get() {
                encoder.end_frame(|b| EVENTS.send(b));
            }
            if let Some(restore) = RESTORE.get().take() {
                critical_section::release(restore);
            }
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // SAFETY: still without interrupts.
        unsafe {
            if let Some(encoder) = ENCODER.get() {
                encoder.write(bytes, |b| EVENTS.send(b));
            }
        }
    }
}
