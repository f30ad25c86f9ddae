//! The debugger's door to the host (semihosting): exit codes, pipes, a line of text. Under QEMU
//! only; a real board stops at the first of them unless a debugger is there.

use cortex_m_semihosting::syscall;

/// End the emulator with this exit code.
pub fn exit(code: u32) -> ! {
    let block = [0x20026usize, code as usize];
    loop {
        // SAFETY: SYS_EXIT_EXTENDED reads the two words.
        unsafe { cortex_m_semihosting::syscall1(0x20, block.as_ptr() as usize) };
    }
}

/// A file or pipe of the host.
#[derive(Clone, Copy)]
pub struct File(usize);

impl File {
    /// Open; the name ends with a zero byte. `None` when it cannot be opened.
    pub fn open(name: &[u8], write: bool) -> Option<File> {
        let mode = if write { 5 } else { 1 };
        // SAFETY: the name is there for as long as the call takes.
        let file = unsafe { syscall!(OPEN, name.as_ptr() as usize, mode, name.len() - 1) };
        (file != usize::MAX).then_some(File(file))
    }

    /// Wait for bytes; how many came, 0 at the end.
    pub fn read(self, to: &mut [u8]) -> usize {
        // SAFETY: the buffer is there for as long as the call takes.
        let left = unsafe { syscall!(READ, self.0, to.as_mut_ptr() as usize, to.len()) };
        to.len().saturating_sub(left)
    }

    /// Write all; false when it could not be.
    pub fn write(self, bytes: &[u8]) -> bool {
        // SAFETY: the bytes are there for as long as the call takes.
        unsafe { syscall!(WRITE, self.0, bytes.as_ptr() as usize, bytes.len()) == 0 }
    }
}

/// The emulator's standard output.
pub fn stdout() -> Option<File> {
    File::open(b":tt\0", true)
}
