//! Bytes to and from a board, whatever carries them.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::Command;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use super::address::Address;
use super::error::RigError;
use super::qemu::Qemu;

/// What bytes come from.
enum Incoming {
    /// Read when asked, without a time-out: pipes of an emulator that is watched.
    Direct(File),
    /// Read by a thread.
    Thread(Receiver<Vec<u8>>),
}

/// A socket that is closed with its port: the thread that reads holds it open otherwise, and the
/// other end would wait for a host that has gone.
enum Socket {
    None,
    Tcp(TcpStream),
    Unix(UnixStream),
}

impl Drop for Socket {
    fn drop(&mut self) {
        // It may be closed already.
        let _ = match self {
            Socket::None => Ok(()),
            Socket::Tcp(stream) => stream.shutdown(Shutdown::Both),
            Socket::Unix(stream) => stream.shutdown(Shutdown::Both),
        };
    }
}

/// An open way to a board.
pub struct Port {
    // Before the emulator, so that it sees the end of its input first.
    out: Box<dyn Write + Send>,
    incoming: Incoming,
    qemu: Option<Qemu>,
    _socket: Socket,
}

/// Read in a thread until the end.
fn in_thread(mut from: impl Read + Send + 'static) -> Incoming {
    let (sender, receiver) = channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 4096];
        loop {
            match from.read(&mut bytes) {
                Ok(0) => return,
                Ok(count) if sender.send(bytes[..count].to_vec()).is_err() => return,
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(_) => return,
            }
        }
    });
    Incoming::Thread(receiver)
}

/// A serial port, raw and at this speed, by the system's own `stty`.
fn serial(path: &Path, baud: u32) -> io::Result<(File, File)> {
    let stty = Command::new("stty")
        .arg("-F")
        .arg(path)
        .args([&baud.to_string(), "raw", "-echo", "-crtscts", "clocal"])
        .output()?;
    if !stty.status.success() {
        let said = String::from_utf8_lossy(&stty.stderr);
        return Err(io::Error::other(said.trim().to_owned()));
    }
    let file = OpenOptions::new().read(true).write(true).open(path)?;
    Ok((file.try_clone()?, file))
}

impl Port {
    /// Open.
    ///
    /// # Errors
    /// A sentence that says what could not be opened.
    pub fn open(address: &Address) -> Result<Port, RigError> {
        let cannot = |what: String| {
            move |error: io::Error| RigError::Open(format!("{what} cannot be opened: {error}"))
        };
        match address {
            Address::Tcp(name) => {
                let stream = TcpStream::connect(name)
                    .and_then(|s| s.set_nodelay(true).and_then(|()| Ok((s.try_clone()?, s))))
                    .map_err(cannot(name.clone()))?;
                let socket = stream.1.try_clone().map_err(cannot(name.clone()))?;
                Ok(Port::new(stream.0, stream.1, Socket::Tcp(socket)))
            }
            Address::Unix(path) => {
                let stream = UnixStream::connect(path)
                    .and_then(|s| Ok((s.try_clone()?, s)))
                    .map_err(cannot(path.display().to_string()))?;
                let socket = stream.1.try_clone().map_err(cannot(path.display().to_string()))?;
                Ok(Port::new(stream.0, stream.1, Socket::Unix(socket)))
            }
            Address::Serial(path, baud) => {
                let (out, incoming) =
                    serial(path, *baud).map_err(cannot(path.display().to_string()))?;
                Ok(Port::over(out, incoming))
            }
            Address::Qemu(image, via) => {
                let (qemu, wires) = Qemu::start(image, *via)?;
                let (out, incoming): (Box<dyn Write + Send>, Incoming) = match wires {
                    super::qemu::Wires::Pipes(out, from) => (Box::new(out), Incoming::Direct(from)),
                    super::qemu::Wires::Socket(stream) => {
                        let out = stream.try_clone().map_err(cannot("its socket".into()))?;
                        (Box::new(out), in_thread(stream))
                    }
                };
                Ok(Port { out, incoming, qemu: Some(qemu), _socket: Socket::None })
            }
        }
    }

    /// Over streams that are open already.
    pub fn over(out: impl Write + Send + 'static, from: impl Read + Send + 'static) -> Port {
        Port::new(out, from, Socket::None)
    }

    fn new(
        out: impl Write + Send + 'static,
        from: impl Read + Send + 'static,
        socket: Socket,
    ) -> Port {
        Port { out: Box::new(out), incoming: in_thread(from), qemu: None, _socket: socket }
    }

    /// Send all.
    ///
    /// # Errors
    /// The other end has gone.
    pub fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        if let Some(qemu) = &self.qemu {
            qemu.is_alive();
        }
        self.out.write_all(bytes)?;
        self.out.flush()
    }

    /// Wait for bytes; none when the time is over.
    ///
    /// # Errors
    /// The other end has gone.
    pub fn receive(&mut self, into: &mut Vec<u8>, timeout: Duration) -> io::Result<()> {
        into.clear();
        let gone = || io::Error::from(io::ErrorKind::UnexpectedEof);
        match &mut self.incoming {
            Incoming::Direct(file) => {
                into.resize(1024, 0);
                let count = file.read(into)?;
                into.truncate(count);
                if count == 0 { Err(gone()) } else { Ok(()) }
            }
            Incoming::Thread(receiver) => match receiver.recv_timeout(timeout) {
                Ok(bytes) => {
                    *into = bytes;
                    Ok(())
                }
                Err(RecvTimeoutError::Timeout) => Ok(()),
                Err(RecvTimeoutError::Disconnected) => Err(gone()),
            },
        }
    }

    /// Send nothing more: the other end of a pipe sees its end.
    pub fn close(&mut self) {
        self.out = Box::new(io::sink());
    }

    /// The emulator behind it.
    pub fn qemu(&mut self) -> Option<&mut Qemu> {
        self.qemu.as_mut()
    }
}
