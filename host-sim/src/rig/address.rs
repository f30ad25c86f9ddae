//! Where a board is.

use std::path::PathBuf;

/// How QEMU is talked to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Via {
    /// Two pipes, for an image that reads and writes them (`pipes`): lockstep, fast.
    Pipes,
    /// The machine's first serial port (`uart`).
    Uart,
    /// Pipes, and time that goes by instructions: for an image that counts them (`measure`).
    Counted,
}

/// Where a board is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// A serial port and its speed.
    Serial(PathBuf, u32),
    /// Host and port of a TCP connection.
    Tcp(String),
    /// A unix socket that somebody listens at.
    Unix(PathBuf),
    /// An image that QEMU is started with.
    Qemu(PathBuf, Via),
}

/// Speed of a serial port that names none.
const BAUD: u32 = 921_600;

/// An address from the command line: `tcp:HOST:PORT`, `unix:PATH`, `serial:PATH` or
/// `serial:PATH@BAUD`.
///
/// # Errors
/// A sentence that says what to write.
pub fn address_from(text: &str) -> Result<Address, String> {
    let wrong = || {
        format!(
            "{text:?} is no address: write tcp:HOST:PORT, unix:PATH, serial:PATH or serial:PATH@BAUD"
        )
    };
    let (kind, rest) =
        text.split_once(':').filter(|(_, rest)| !rest.is_empty()).ok_or_else(wrong)?;
    match kind {
        "tcp" if rest.rsplit_once(':').is_some_and(|(_, p)| p.parse::<u16>().is_ok()) => {
            Ok(Address::Tcp(rest.to_owned()))
        }
        "unix" => Ok(Address::Unix(rest.into())),
        "serial" => match rest.rsplit_once('@') {
            None => Ok(Address::Serial(rest.into(), BAUD)),
            Some((path, baud)) => {
                let baud = baud.parse().ok().filter(|b| *b > 0).ok_or_else(wrong)?;
                Ok(Address::Serial(path.into(), baud))
            }
        },
        _ => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read() {
        assert_eq!(address_from("tcp:localhost:4000"), Ok(Address::Tcp("localhost:4000".into())));
        assert_eq!(address_from("unix:a/b"), Ok(Address::Unix("a/b".into())));
        assert_eq!(address_from("serial:tty0"), Ok(Address::Serial("tty0".into(), 921_600)));
        assert_eq!(address_from("serial:tty0@9600"), Ok(Address::Serial("tty0".into(), 9600)));
        for wrong in ["", "tcp", "tcp:", "tcp:host", "serial:a@b", "serial:a@0", "usb:1"] {
            assert!(address_from(wrong).is_err(), "{wrong}");
        }
    }
}
