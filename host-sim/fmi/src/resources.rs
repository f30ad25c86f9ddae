//! Where the unpacked archive keeps its resources.

use std::ffi::OsString;
use std::os::unix::ffi::OsStringExt;
use std::path::PathBuf;

/// The path of a `file:` address (RFC 8089), as FMI 2.0 gives it.
pub(crate) fn path_of(address: &str) -> Result<PathBuf, String> {
    let wrong = || format!("{address:?} is no address of a folder: file:///...");
    let rest = address.strip_prefix("file:").ok_or_else(wrong)?;
    let path = match rest.strip_prefix("//") {
        Some(rest) => rest.strip_prefix("localhost").unwrap_or(rest),
        None => rest,
    };
    if !path.starts_with('/') {
        return Err(wrong());
    }
    let mut bytes = Vec::new();
    let mut left = path.bytes();
    while let Some(byte) = left.next() {
        if byte != b'%' {
            bytes.push(byte);
            continue;
        }
        let digit = |byte: Option<u8>| char::from(byte?).to_digit(16);
        let (high, low) = (digit(left.next()), digit(left.next()));
        let (Some(high), Some(low)) = (high, low) else { return Err(wrong()) };
        bytes.push((16 * high + low) as u8);
    }
    Ok(OsString::from_vec(bytes).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_become_paths() {
        for (address, path) in [
            ("file:///a/b", "/a/b"),
            ("file:/a%20b/", "/a b/"),
            ("file://localhost/%C3%A4", "/\u{e4}"),
        ] {
            assert_eq!(path_of(address), Ok(PathBuf::from(path)), "{address}");
        }
        for wrong in ["", "/a", "file:a", "file:///%2", "file:///%zz", "file://host/a"] {
            assert!(path_of(wrong).is_err(), "{wrong}");
        }
    }
}
