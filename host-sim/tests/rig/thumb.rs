//! Where an instruction of the Armv7-M processor goes next (Armv7-M Architecture Reference
//! Manual, chapters A5 and A7). Every instruction is one of a stated class, or an error: nothing
//! is guessed.

/// What comes after an instruction.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Flow {
    /// The one behind it.
    Next,
    /// A branch; the instruction behind it too when it has a condition of its own.
    Jump { to: u32, always: bool },
    /// A call, then the one behind it.
    Call(u32),
    /// Back to the caller.
    Return,
    /// A branch by the table of offsets of a byte or two that lies behind it.
    Table { halves: bool },
    /// Nothing: the processor faults.
    Trap,
}

/// An instruction.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Step {
    pub(crate) size: u32,
    pub(crate) flow: Flow,
    /// How many instructions behind it are carried out only under its condition (IT).
    pub(crate) covers: u32,
}

/// The instruction at `pc` of these two halves; the second is looked at when it has four bytes.
pub(crate) fn decode(pc: u32, first: u16, second: u16) -> Result<Step, String> {
    let wide = first >> 11 >= 0b11101;
    let flow = if wide { wide_flow(pc, first, second) } else { narrow_flow(pc, first) };
    let flow = flow.ok_or_else(|| format!("{pc:x}: not understood: {first:04x} {second:04x}"))?;
    let is_it = first & 0xff00 == 0xbf00 && first & 15 != 0;
    let covers = if is_it { 4 - (first & 15).trailing_zeros() } else { 0 };
    Ok(Step { size: if wide { 4 } else { 2 }, flow, covers })
}

fn jump(pc: u32, offset: i32, always: bool) -> Flow {
    Flow::Jump { to: (pc + 4).wrapping_add_signed(offset), always }
}

/// A5.2, instructions of two bytes.
fn narrow_flow(pc: u32, word: u16) -> Option<Flow> {
    let high = word >> 4 & 8 | word & 7;
    match word {
        // Shift, add, subtract, move, compare with constants; data processing.
        0x0000..=0x43ff => Some(Flow::Next),
        // ADD, CMP, MOV of high registers: not to pc. CMP alone writes nothing.
        0x4400..=0x44ff | 0x4600..=0x46ff => (high != 15).then_some(Flow::Next),
        0x4500..=0x45ff => Some(Flow::Next),
        // BX lr; any other BX and every BLX is a jump that cannot be followed.
        0x4770 => Some(Flow::Return),
        0x4700..=0x47ff => None,
        // Loads, stores, addresses of pc and sp, and adjusting sp.
        0x4800..=0xb0ff => Some(Flow::Next),
        // SXTH, SXTB, UXTH, UXTB; PUSH; REV, REV16, REVSH.
        0xb200..=0xb2ff | 0xb400..=0xb5ff => Some(Flow::Next),
        0xba00..=0xba7f | 0xbac0..=0xbaff => Some(Flow::Next),
        // CBZ, CBNZ
        _ if word & 0xf500 == 0xb100 => {
            let offset = word >> 3 & 0x40 | word >> 2 & 0x3e;
            Some(jump(pc, i32::from(offset), false))
        }
        // POP without and with pc
        0xbc00..=0xbcff => Some(Flow::Next),
        0xbd00..=0xbdff => Some(Flow::Return),
        // NOP, IT; no other hint (they wait).
        0xbf00..=0xbfff => (word == 0xbf00 || word & 15 != 0).then_some(Flow::Next),
        // STM, LDM
        0xc000..=0xcfff => Some(Flow::Next),
        // B with a condition, UDF, B
        0xd000..=0xddff => Some(jump(pc, i32::from(word as u8 as i8) << 1, false)),
        0xde00..=0xdeff => Some(Flow::Trap),
        0xe000..=0xe7ff => Some(jump(pc, i32::from((word << 5) as i16) >> 4, true)),
        _ => None,
    }
}

/// A5.3, instructions of four bytes.
fn wide_flow(pc: u32, first: u16, second: u16) -> Option<Flow> {
    let (rd, rt) = (second >> 8 & 15, second >> 12);
    let next = |fine: bool| fine.then_some(Flow::Next);
    // TST, TEQ, CMN, CMP: a result that goes nowhere.
    let compares = first & 0x10 != 0 && matches!(first >> 5 & 15, 0 | 4 | 8 | 13);
    match first {
        // LDM, STM and the like: incrementing after or decrementing before
        _ if first & 0xfe40 == 0xe800 => {
            let known = matches!(first >> 7 & 3, 1 | 2);
            let to_pc = first & 0x10 != 0 && second & 0x8000 != 0;
            match (known, to_pc) {
                (true, true) => (first == 0xe8bd).then_some(Flow::Return),
                (known, _) => next(known),
            }
        }
        // TBB, TBH; LDRD, STRD; nothing exclusive
        0xe8df if second & 0xffe0 == 0xf000 => Some(Flow::Table { halves: second & 0x10 != 0 }),
        _ if first & 0xfe40 == 0xe840 => next(first & 0x120 != 0 && rt != 15 && rd != 15),
        // Data processing: shifted register, modified constant; plain constant
        _ if first & 0xfe00 == 0xea00 => next(rd != 15 || compares),
        _ if first & 0xfa00 == 0xf000 && second & 0x8000 == 0 => next(rd != 15 || compares),
        _ if first & 0xfa00 == 0xf200 && second & 0x8000 == 0 => next(rd != 15),
        // Floating point; VMRS to the flags, but nothing else to register 15
        _ if first & 0xfc00 == 0xec00 => {
            let (single, moves) = (second & 0x0e00 == 0x0a00, first & 0xff00 == 0xee00);
            let to_core = moves && second & 0x10 != 0 && first & 0x10 != 0;
            next(single && (!to_core || rt != 15 || first == 0xeef1))
        }
        _ if first & 0xf800 == 0xf000 => branch(pc, first, second),
        // Stores; loads of bytes and half words (with 15: a hint), of words
        _ if first & 0xff10 == 0xf800 => next(first >> 5 & 3 != 3),
        _ if first & 0xfe70 == 0xf810 || first & 0xfe70 == 0xf830 => next(true),
        0xf85d if second == 0xfb04 => Some(Flow::Return),
        _ if first & 0xfe70 == 0xf850 => next(rt != 15),
        // Data processing of registers, multiplications, divisions
        _ if first & 0xff00 == 0xfa00 => next(rt == 15 && rd != 15),
        _ if first & 0xff00 == 0xfb00 => next(rd != 15),
        _ => None,
    }
}

/// A5.3.4, branches: BL, B, and B with a condition; NOP and UDF.
fn branch(pc: u32, first: u16, second: u16) -> Option<Flow> {
    let bit = |word: u16, bit: u16| u32::from(word >> bit & 1);
    let sign = bit(first, 10);
    let low = u32::from(second & 0x7ff) << 1;
    if second & 0x1000 != 0 {
        let not = |at: u16| bit(second, at) ^ sign ^ 1;
        let near = u32::from(first & 0x3ff) << 12 | low;
        let all = sign << 24 | not(13) << 23 | not(11) << 22 | near;
        let offset = ((all << 7) as i32) >> 7;
        let linked = Flow::Call((pc + 4).wrapping_add_signed(offset));
        return Some(if second & 0x4000 != 0 { linked } else { jump(pc, offset, true) });
    }
    match (second & 0xd000, first >> 6 & 15) {
        (0x8000, 14..) => match (first, second) {
            (0xf3af, 0x8000) => Some(Flow::Next),
            _ if first & 0xfff0 == 0xf7f0 && second & 0xf000 == 0xa000 => Some(Flow::Trap),
            _ => None,
        },
        (0x8000, _) => {
            let near = u32::from(first & 0x3f) << 12 | low;
            let all = sign << 20 | bit(second, 11) << 19 | bit(second, 13) << 18 | near;
            Some(jump(pc, ((all << 11) as i32) >> 11, false))
        }
        _ => None,
    }
}

/// Instructions as an assembler for this processor encodes them.
#[test]
fn what_comes_next_is_read() {
    let flow = |words: &[u16]| {
        let step = decode(0x100, words[0], words.get(1).copied().unwrap_or(0))?;
        assert_eq!(step.size as usize, 2 * words.len());
        Ok::<Flow, String>(step.flow)
    };
    let jump = |to, always| Ok(Flow::Jump { to, always });
    let all: &[(&[u16], Result<Flow, String>)] = &[
        (&[0x1c40], Ok(Flow::Next)),                            // adds r0, r0, #1
        (&[0xe7fe], jump(0x100, true)),                         // b to itself
        (&[0xd1fe], jump(0x100, false)),                        // bne to itself
        (&[0xb108], jump(0x106, false)),                        // cbz r0, 0x106
        (&[0xbbf8], jump(0x182, false)),                        // cbnz r0, 0x182
        (&[0xf000, 0xb87e], jump(0x200, true)),                 // b.w 0x200
        (&[0xf47f, 0xaf7e], jump(0, false)),                    // bne.w 0
        (&[0xf000, 0xf87e], Ok(Flow::Call(0x200))),             // bl 0x200
        (&[0x4770], Ok(Flow::Return)),                          // bx lr
        (&[0xbd10], Ok(Flow::Return)),                          // pop {r4, pc}
        (&[0xbc10], Ok(Flow::Next)),                            // pop {r4}
        (&[0xe8bd, 0x8ff0], Ok(Flow::Return)),                  // pop.w {r4-r11, pc}
        (&[0xe8bd, 0x0ff0], Ok(Flow::Next)),                    // pop.w {r4-r11}
        (&[0xf85d, 0xfb04], Ok(Flow::Return)),                  // pop.w {pc}
        (&[0xe8df, 0xf000], Ok(Flow::Table { halves: false })), // tbb [pc, r0]
        (&[0xe8df, 0xf011], Ok(Flow::Table { halves: true })),  // tbh [pc, r1, lsl #1]
        (&[0xdeff], Ok(Flow::Trap)),                            // udf #255
        (&[0xf1b0, 0x0f01], Ok(Flow::Next)),                    // cmp.w r0, #1
        (&[0xeef1, 0xfa10], Ok(Flow::Next)),                    // vmrs apsr_nzcv, fpscr
        (&[0xecbd, 0x8b10], Ok(Flow::Next)),                    // vpop {d8-d15}
        (&[0xfbb0, 0xf0f1], Ok(Flow::Next)),                    // udiv r0, r0, r1
        (&[0xe9d0, 0x1200], Ok(Flow::Next)),                    // ldrd r1, r2, [r0]
    ];
    for (words, wanted) in all {
        assert_eq!(flow(words), *wanted, "{words:04x?}");
    }
    let unknown: &[&[u16]] = &[
        &[0x4718],         // bx r3
        &[0x4798],         // blx r3
        &[0x46f7],         // mov pc, lr
        &[0x4487],         // add pc, r0
        &[0xdf00],         // svc 0
        &[0xbf30],         // wfi
        &[0xf8d0, 0xf000], // ldr.w pc, [r0]
        &[0xe8b0, 0x8002], // ldm r0!, {r1, pc}
        &[0xe8df, 0xf0f0], // no table
        &[0xe850, 0x0f00], // ldrex r0, [r0]
        &[0xe8d1, 0xf000], // tbb [r1, r0]
        &[0xf000, 0xc000], // blx to an address
        &[0xee10, 0xfa10], // vmov pc, s0
    ];
    for words in unknown {
        assert!(decode(0, words[0], words.get(1).copied().unwrap_or(0)).is_err(), "{words:04x?}");
    }
    let covers = |word| decode(0, word, 0).expect("IT").covers;
    assert_eq!([0xbf08, 0xbf0c, 0xbf02, 0xbf01].map(covers), [1, 2, 3, 4], "it, ite, itte, ittte");
    assert_eq!(covers(0xbf00), 0, "nop");
}
