//! Messages for a person on stderr that never break a run: in this crate `eprint!` and
//! `eprintln!` are these macros, not those of the standard library, which panic when the
//! reader at the other end of a pipe has gone.

/// Write to stderr; what cannot be written is dropped.
pub(crate) fn write_to_stderr(text: std::fmt::Arguments<'_>) {
    use std::io::Write;
    let _ = std::io::stderr().lock().write_fmt(text);
}

macro_rules! eprint {
    ($($words:tt)*) => { $crate::terminal::write_to_stderr(format_args!($($words)*)) };
}

macro_rules! eprintln {
    () => { eprint!("\n") };
    ($($words:tt)*) => { eprint!("{}\n", format_args!($($words)*)) };
}
