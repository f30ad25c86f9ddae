//! Consistent overhead byte stuffing: no zero byte within a frame, one after it. (Cheshire and
//! Baker, IEEE/ACM Transactions on Networking 7(2), 1999.)

use super::bytes::Writer;

/// Longest run without a zero that this coder writes: the general scheme has another rule from
/// 254 bytes on, and a body is shorter than that.
pub const LONGEST: usize = 253;

/// Encode `body`, without the closing zero; `None` when there is no room or it is too long.
pub fn encode(body: &[u8], out: &mut [u8]) -> Option<usize> {
    if body.len() > LONGEST {
        return None;
    }
    let mut writer = Writer::new(out);
    for run in body.split(|&byte| byte == 0) {
        writer.u8(u8::try_from(run.len().saturating_add(1)).ok()?);
        writer.bytes(run);
    }
    writer.finish()
}

/// Decode what stood before a zero byte, in place; `None` when it is no encoding of a body of up
/// to [`LONGEST`] bytes.
pub fn decode(coded: &mut [u8]) -> Option<&[u8]> {
    let length = coded.len();
    let (mut from, mut to) = (0usize, 0usize);
    while from < length {
        let code = usize::from(*coded.get(from)?);
        let end = from.checked_add(code)?;
        if code == 0 || code == 255 || end > length {
            return None;
        }
        if from != 0 {
            *coded.get_mut(to)? = 0;
            to = to.checked_add(1)?;
        }
        from = from.checked_add(1)?;
        while from < end {
            let byte = *coded.get(from)?;
            // A zero byte ends a frame and cannot stand within one.
            if byte == 0 {
                return None;
            }
            *coded.get_mut(to)? = byte;
            from = from.checked_add(1)?;
            to = to.checked_add(1)?;
        }
    }
    coded.get(..to).filter(|body| body.len() <= LONGEST)
}
