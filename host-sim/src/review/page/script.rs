//! The page's script: sorting and filtering of tables, and the sliders of the timelines. The page
//! says everything without it.

use super::super::sha256::sha256_bytes;

pub(super) const SCRIPT: &str = include_str!("page.js");

/// The script's digest as a content security policy names it ("sha256-" and base64).
pub(super) fn policy_hash() -> String {
    format!("sha256-{}", base64(&sha256_bytes(SCRIPT.as_bytes())))
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for group in bytes.chunks(3) {
        let mut word = [0u8; 3];
        word[..group.len()].copy_from_slice(group);
        let bits = u32::from_be_bytes([0, word[0], word[1], word[2]]);
        for digit in 0..4 {
            let shown = digit <= group.len();
            let at = (bits >> (18 - 6 * digit) & 63) as usize;
            out.push(if shown { char::from(DIGITS[at]) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (text, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(text.as_bytes()), coded);
        }
    }
}
