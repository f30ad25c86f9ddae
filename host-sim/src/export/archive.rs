//! A ZIP archive (PKWARE APPNOTE 6.3, as FMI asks for it): deflated entries, no times, no owners,
//! so that the same content gives the same bytes.

/// Date of every entry: the format's first day.
const FIRST_DAY: u16 = (1 << 5) | 1;
/// Needed to read: directories and deflate.
const VERSION: u16 = 20;
/// Names are UTF-8.
const UTF_8: u16 = 1 << 11;
const DEFLATED: u16 = 8;
/// Attributes of a file, as Unix has them: `rw-r--r--`, and `x` for libraries.
const MADE_BY_UNIX: u16 = 3 << 8 | VERSION;
const FILE_MODE: u32 = 0o100_755 << 16;

/// CRC-32 of ISO 3309, as ZIP has it (reflected, polynomial 0xedb88320).
pub(super) fn crc_32(bytes: &[u8]) -> u32 {
    let mut table = [0u32; 256];
    for (n, slot) in (0u32..).zip(table.iter_mut()) {
        *slot = (0..8).fold(n, |c, _| if c & 1 == 1 { c >> 1 ^ 0xedb8_8320 } else { c >> 1 });
    }
    !bytes.iter().fold(!0u32, |c, byte| table[((c ^ u32::from(*byte)) & 0xff) as usize] ^ c >> 8)
}

/// The fields that an entry's own header and its line in the directory share.
fn shared(name: &str, bytes: &[u8], packed: usize) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    for field in [UTF_8, DEFLATED, 0, FIRST_DAY] {
        out.extend(field.to_le_bytes());
    }
    out.extend(crc_32(bytes).to_le_bytes());
    out.extend(u32::try_from(packed).ok()?.to_le_bytes());
    out.extend(u32::try_from(bytes.len()).ok()?.to_le_bytes());
    out.extend(u16::try_from(name.len()).ok()?.to_le_bytes());
    out.extend(0u16.to_le_bytes());
    Some(out)
}

/// An archive of these files; `None` when they are too large for the format's simple form.
pub(super) fn archive(files: &[(String, Vec<u8>)]) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    let mut directory = Vec::new();
    for (name, bytes) in files {
        let packed = miniz_oxide::deflate::compress_to_vec(bytes, 6);
        let fields = shared(name, bytes, packed.len())?;
        let offset = u32::try_from(out.len()).ok()?;
        out.extend(b"PK\x03\x04");
        out.extend(VERSION.to_le_bytes());
        out.extend(&fields);
        out.extend(name.as_bytes());
        out.extend(packed);
        directory.extend(b"PK\x01\x02");
        directory.extend(MADE_BY_UNIX.to_le_bytes());
        directory.extend(VERSION.to_le_bytes());
        directory.extend(&fields);
        // No comment, first disk, no internal attributes.
        directory.extend([0; 6]);
        directory.extend(FILE_MODE.to_le_bytes());
        directory.extend(offset.to_le_bytes());
        directory.extend(name.as_bytes());
    }
    let (count, begin) = (u16::try_from(files.len()).ok()?, u32::try_from(out.len()).ok()?);
    let size = u32::try_from(directory.len()).ok()?;
    out.extend(directory);
    out.extend(b"PK\x05\x06");
    out.extend([0; 4]);
    out.extend(count.to_le_bytes());
    out.extend(count.to_le_bytes());
    out.extend(size.to_le_bytes());
    out.extend(begin.to_le_bytes());
    out.extend(0u16.to_le_bytes());
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The check value of this CRC: "123456789" (from memory; every catalogue of CRCs has it).
    #[test]
    fn the_checksum_is_that_of_the_format() {
        assert_eq!(crc_32(b"123456789"), 0xcbf4_3926);
        assert_eq!(crc_32(b""), 0);
    }

    #[test]
    fn same_files_same_bytes() {
        let files = [("a/b".to_owned(), vec![7; 1000]), ("c".to_owned(), Vec::new())];
        let packed = archive(&files).expect("small");
        assert_eq!(packed, archive(&files).expect("small"));
        assert!(packed.len() < 400, "{}", packed.len());
    }
}
