//! How much stack a function of a linked image needs at most: the frames of the deepest chain of
//! calls, read from the machine code (Armv7-M Architecture Reference Manual, chapter A7). With no
//! recursion and no call through a register that is a bound for every path.

use std::collections::BTreeMap;

use crate::elf::Image;

/// A function: where it is, what it takes from the stack, whom it calls.
#[derive(Default)]
struct Function {
    end: u32,
    frame: u32,
    calls: Vec<u32>,
    /// Whether it does what this cannot follow.
    strange: bool,
}

/// Functions of an image, by address.
pub(crate) struct Code<'a> {
    image: &'a Image,
    functions: BTreeMap<u32, Function>,
}

impl Code<'_> {
    pub(crate) fn of(image: &Image) -> Code<'_> {
        let mut functions = BTreeMap::new();
        for range in image.functions() {
            let mut function = Function { end: range.end, ..Function::default() };
            let half = |at| image.half(at).expect("code");
            let mut pc = range.start;
            while pc < range.end {
                let first = half(pc);
                if image.is_data(pc) {
                    pc += 2;
                } else if first >> 11 >= 0b11101 {
                    function.wide(pc, first, half(pc + 2));
                    pc += 4;
                } else {
                    function.narrow(pc, first);
                    pc += 2;
                }
            }
            function.calls.retain(|to| !range.contains(to));
            functions.insert(range.start, function);
        }
        Code { image, functions }
    }

    /// Bytes of stack below the caller of the function whose name has this part.
    pub(crate) fn stack(&self, part: &str) -> u32 {
        self.depth(self.image.named(part), &mut Vec::new())
    }

    fn depth(&self, address: u32, callers: &mut Vec<u32>) -> u32 {
        let at = self.functions.range(..=address).next_back().filter(|(_, f)| address < f.end);
        let (start, function) = at.unwrap_or_else(|| panic!("no function at {address:x}"));
        assert!(!callers.contains(start), "it calls itself: {start:x}");
        assert!(!function.strange, "calls through a register, or moves its stack: {start:x}");
        callers.push(*start);
        let below = function.calls.iter().map(|to| self.depth(*to, callers)).max();
        callers.pop();
        function.frame + below.unwrap_or(0)
    }
}

impl Function {
    /// An instruction of two bytes.
    fn narrow(&mut self, pc: u32, word: u16) {
        let words = |list: u16| 4 * list.count_ones();
        let high = word >> 4 & 8 | word & 7;
        match word {
            // PUSH; SUB sp, #imm7
            _ if word & 0xfe00 == 0xb400 => self.frame += words(word & 0x1ff),
            _ if word & 0xff80 == 0xb080 => self.frame += 4 * u32::from(word & 0x7f),
            // BLX or BX of a register that is not lr; MOV or ADD to sp
            _ if word & 0xff80 == 0x4780 => self.strange = true,
            _ if word & 0xff80 == 0x4700 => self.strange |= word >> 3 & 15 != 14,
            _ if word & 0xfd00 == 0x4400 && high == 13 => self.strange = true,
            // B, and B with a condition
            _ if word & 0xf800 == 0xe000 => self.goes(pc, i32::from(word << 5) as i16 as i32 >> 4),
            _ if word & 0xf000 == 0xd000 && word >> 8 & 15 < 14 => {
                self.goes(pc, i32::from(word as u8 as i8) << 1);
            }
            _ => {}
        }
    }

    /// An instruction of four bytes.
    fn wide(&mut self, pc: u32, first: u16, second: u16) {
        let low = u32::from(second & 0xff);
        let imm12 = u32::from(first >> 10 & 1) << 11 | u32::from(second >> 12 & 7) << 8 | low;
        match first {
            // STMDB sp!; STR [sp, #-imm8]!; STRD [sp, #-imm8]!; VPUSH
            0xe92d => self.frame += 4 * second.count_ones(),
            0xf84d if second & 0x0f00 == 0x0d00 => self.frame += low,
            0xe96d => self.frame += 4 * low,
            _ if first & 0xffbf == 0xed2d && second & 0x0e00 == 0x0a00 => self.frame += 4 * low,
            // SUB sp, sp, #const; SUBW
            _ if first & 0xfbef == 0xf1ad && second >> 8 & 15 == 13 => self.frame += expand(imm12),
            _ if first & 0xfbff == 0xf2ad && second >> 8 & 15 == 13 => self.frame += imm12,
            // BL, B, and B with a condition
            _ if first & 0xf800 == 0xf000 && second & 0x9000 == 0x9000 => {
                let sign = u32::from(first >> 10 & 1);
                let not = |bit: u16| u32::from(second >> bit & 1) ^ sign ^ 1;
                let far = sign << 24 | not(13) << 23 | not(11) << 22;
                let near = u32::from(first & 0x3ff) << 12 | u32::from(second & 0x7ff) << 1;
                self.goes(pc, ((far | near) << 7) as i32 >> 7);
            }
            _ if first & 0xf800 == 0xf000 && second & 0xd000 == 0x8000 && first >> 6 & 15 < 14 => {
                let sign = u32::from(first >> 10 & 1) << 20;
                let far =
                    sign | u32::from(second >> 11 & 1) << 19 | u32::from(second >> 13 & 1) << 18;
                let near = u32::from(first & 0x3f) << 12 | u32::from(second & 0x7ff) << 1;
                self.goes(pc, ((far | near) << 11) as i32 >> 11);
            }
            _ => {}
        }
    }

    fn goes(&mut self, pc: u32, offset: i32) {
        self.calls.push((pc + 4).wrapping_add_signed(offset));
    }
}

/// ThumbExpandImm, A5.3.2, for the forms without repeated bytes.
fn expand(imm12: u32) -> u32 {
    if imm12 >> 10 == 0 { imm12 & 0xff } else { (0x80 | imm12 & 0x7f).rotate_right(imm12 >> 7) }
}

/// Instructions as an assembler for this processor encodes them.
#[test]
fn frames_and_calls_are_read() {
    let frame = |words: &[u16]| {
        let mut f = Function::default();
        match words {
            [one] => f.narrow(0x100, *one),
            [one, two] => f.wide(0x100, *one, *two),
            _ => unreachable!(),
        }
        (f.frame, f.calls, f.strange)
    };
    let takes = |bytes| (bytes, vec![], false);
    assert_eq!(frame(&[0xb5f0]), takes(20), "push {{r4-r7, lr}}");
    assert_eq!(frame(&[0xb082]), takes(8), "sub sp, #8");
    assert_eq!(frame(&[0xe92d, 0x4ff0]), takes(36), "push {{r4-r11, lr}}");
    assert_eq!(frame(&[0xed2d, 0x8b10]), takes(64), "vpush {{d8-d15}}");
    assert_eq!(frame(&[0xf5ad, 0x7d80]), takes(256), "sub.w sp, sp, #256");
    assert_eq!(frame(&[0xf84d, 0xbd04]), takes(4), "str r11, [sp, #-4]!");
    assert_eq!(frame(&[0xf000, 0xf87e]), (0, vec![0x200], false), "bl 0x200");
    assert_eq!(frame(&[0xe7fe]), (0, vec![0x100], false), "b to itself");
    assert_eq!(frame(&[0xd1fe]), (0, vec![0x100], false), "bne to itself");
    assert!(frame(&[0x4798]).2 && !frame(&[0x4770]).2, "blx r3, and bx lr");
}
