//! What a tick costs on a Cortex-M4F: instructions, flash, state and stack, measured under QEMU and
//! compared with a committed file. `SLIPWARDEN_WRITE=1` rewrites it.

use std::fmt::Write as _;
use std::path::Path;

use host_sim::campaign::{World, case};
use host_sim::review::Subject;
use host_sim::rig::Via;
use host_sim::rig::lockstep::Lockstep;

use crate::images::{Demo, drive, image};

/// Size of a section of an ELF file of 32 bits, little end first (System V ABI, chapter 4).
fn section(elf: &[u8], name: &str) -> u32 {
    let u32_at = |at: usize| u32::from_le_bytes(elf[at..at + 4].try_into().expect("four bytes"));
    let u16_at = |at: usize| u16::from_le_bytes(elf[at..at + 2].try_into().expect("two bytes"));
    let (table, size, count) =
        (u32_at(32) as usize, usize::from(u16_at(46)), usize::from(u16_at(48)));
    let names = u32_at(table + usize::from(u16_at(50)) * size + 16) as usize;
    let of = |n: usize| table + n * size;
    let found = (0..count).find(|n| {
        let at = names + u32_at(of(*n)) as usize;
        elf[at..].starts_with(name.as_bytes()) && elf[at + name.len()] == 0
    });
    u32_at(of(found.expect("a section")) + 20)
}

fn code_bytes(profile: &str) -> u32 {
    let text = |features| {
        let path = image("size", profile, features);
        section(&std::fs::read(path).expect("an image"), ".text")
    };
    text("shuttle") - text("shuttle,empty")
}

/// What the image says at its end, after the recorded set: every ready scenario of the shuttle and
/// cases with two faults each.
fn measured(profile: &str) -> String {
    let demo = Demo::new("shuttle");
    let measure = image("measure", profile, "shuttle");
    let mut link = demo.link(measure, Via::Counted).expect("it greets");
    let mut board = Lockstep::new(&mut link);
    for scenario in ["shuttle-tour", "shuttle-stuck-ring-brake", "shuttle-reset"] {
        drive(&demo, &mut board, &demo.setup(scenario), u64::MAX);
    }
    let world = World::new(Subject::read("shuttle", 1).expect("embedded"));
    for number in 0..12 {
        drive(&demo, &mut board, &case(&world, 20, 2, number).setup, u64::MAX);
    }
    assert!(board.mismatch.is_none());
    let (code, text) = link.end().expect("it ends by itself");
    assert_eq!(code, 0);
    text
}

fn number(text: &str, line: &str, after: &str) -> u64 {
    let line = text.lines().find(|l| l.starts_with(line)).expect("a line");
    let word = line.split(after).nth(1).and_then(|rest| rest.split_whitespace().next());
    word.and_then(|w| w.parse().ok()).expect("a number")
}

/// The instruction counting is right: known loops of 4 instructions a round, and 2 around them.
fn counting_is_right(text: &str) {
    let line = text.lines().find(|l| l.starts_with("loops ")).expect("a line");
    let loops: Vec<i64> = line.split(' ').skip(1).map(|w| w.parse().expect("a number")).collect();
    assert_eq!(loops[1] - loops[0], 4 * 45, "{line}");
    assert_eq!(loops[2] - loops[1], 4 * 450, "{line}");
}

#[test]
fn what_a_tick_costs_is_as_committed() {
    let mut told = String::from(
        "What the supervisor costs on a Cortex-M4F, shuttle table; written by a test.\n\
         Instructions, not cycles; flash without the table; stack below the caller.\n\n",
    );
    for (profile, name) in [("fast", "-O3"), ("release", "-Os")] {
        let text = measured(profile);
        counting_is_right(&text);
        let tick = |what| number(&text, "tick ", what);
        let _ = writeln!(
            told,
            "{name}: worst tick {} instructions, mean {}, least {}; first tick after a reset at \
             most {}\n     code {} bytes, state {} bytes, stack {} bytes",
            tick("most "),
            tick("mean "),
            tick("least "),
            number(&text, "first ", "most "),
            code_bytes(profile),
            number(&text, "state ", "state "),
            number(&text, "state ", "stack "),
        );
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/snapshots/board-cost.txt");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        std::fs::write(&path, &told).expect("it can be written");
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(committed, told, "set SLIPWARDEN_WRITE=1 to take the new one");
}
