//! The bodies of the fuzz targets (`tests/fuzz`) over bytes from our seeded generator: good frames,
//! damaged, cut, repeated and mixed with noise. cargo-fuzz looks further, by coverage, but it needs
//! a nightly compiler; this runs everywhere.

#[path = "../fuzz/src/bodies.rs"]
mod bodies;

use host_sim::plant::random::Random;
use slipwarden_tests::tables::axle::TABLE;
use supervisor::io::{Inputs, LockReport, Speed, Torque};
use supervisor::link::frame::Stamp;
use supervisor::link::message::Call;
use supervisor::link::node::{build_name, hello};
use supervisor::link::{Begin, Message, Mode, Node, Role, Wire};

const SEED: u64 = 41;
const RUNS: u32 = 20_000;

fn any(random: &mut Random, count: usize) -> Vec<u8> {
    (0..count).map(|_| random.below(256) as u8).collect()
}

/// A message as a host or board may send it.
fn message(random: &mut Random) -> Message {
    let mut inputs = Inputs { request: Some(random.below(6) as u8), ..Inputs::default() };
    for speed in &mut inputs.speeds {
        *speed = Speed {
            radps: f32::from_bits(random.below(1 << 32) as u32),
            valid: random.below(2) == 1,
        };
    }
    for report in &mut inputs.reports {
        *report =
            [LockReport::Open, LockReport::Closed, LockReport::Missing][random.below(3) as usize];
    }
    for torque in &mut inputs.torques {
        *torque = Torque { nm: (200.0 * random.signed_unit()) as f32, valid: true };
    }
    let bit = |random: &mut Random| random.below(4) == 0;
    match random.below(8) {
        0 => Message::Hello(hello(&TABLE, Role::Host, build_name("host"))),
        1 => Message::Begin(Begin {
            mode: if bit(random) { Mode::RealTime } else { Mode::Lockstep },
            lost_ticks: random.below(30) as u16,
            trace: None,
        }),
        2 => Message::End,
        3 => Message::Ready,
        _ => Message::Call(Call {
            inputs,
            called: !bit(random),
            warm_reset: bit(random),
            cold_reset: bit(random),
        }),
    }
}

fn frame(random: &mut Random, sequence: u16) -> Wire {
    let message = message(random);
    Wire::new(Stamp { sequence, tick: random.below(1 << 32) as u32 }, &message)
}

/// A frame's body without checksum: COBS (Cheshire and Baker, 1999) undone, written again here.
fn body(wire: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut left = &wire[..wire.len() - 1];
    while let Some((code, rest)) = left.split_first() {
        let count = usize::from(*code) - 1;
        out.extend(&rest[..count]);
        left = &rest[count..];
        if *code < 255 && !left.is_empty() {
            out.push(0);
        }
    }
    out.truncate(out.len() - 4);
    out
}

/// Change a few bytes, now and then.
fn damage(random: &mut Random, bytes: &mut Vec<u8>) {
    for _ in 0..random.below(4).saturating_sub(1) {
        if bytes.is_empty() {
            return;
        }
        let at = random.below(bytes.len() as u64) as usize;
        match random.below(3) {
            0 => bytes[at] ^= 1 << random.below(8),
            1 => drop(bytes.remove(at)),
            _ => bytes.insert(at, random.below(256) as u8),
        }
    }
}

#[test]
fn any_bytes_go_into_a_receiver() {
    let mut random = Random::new(SEED);
    let mut good = 0;
    for run in 0..RUNS {
        let mut bytes = Vec::new();
        for n in 0..1 + random.below(6) as u16 {
            let mut part = frame(&mut random, n).bytes().to_vec();
            damage(&mut random, &mut part);
            bytes.extend(part);
            // Noise spoils the frame that follows it as well.
            if random.below(3) == 0 {
                let noise = random.below(8) as usize;
                bytes.extend(any(&mut random, noise));
            }
        }
        if run % 4 == 0 {
            let noise = random.below(600) as usize;
            bytes = any(&mut random, noise);
        }
        good += bodies::receiver(&bytes);
    }
    assert!(good > RUNS / 2, "seed {SEED}: only {good} good messages");
}

#[test]
fn any_bodies_go_into_a_board() {
    let mut random = Random::new(SEED + 1);
    let mut good = 0;
    for _ in 0..RUNS / 4 {
        let mut bytes = Vec::new();
        for n in 0..1 + random.below(24) as u16 {
            let mut part = body(frame(&mut random, n).bytes());
            damage(&mut random, &mut part);
            bytes.push(part.len() as u8);
            bytes.extend(part);
        }
        good += bodies::node(&bytes);
    }
    assert!(good > RUNS, "seed {SEED}: only {good} good messages");
}

/// Answers of a real board with some bytes changed, and mere noise.
#[test]
fn any_answer_goes_to_a_host() {
    let mut random = Random::new(SEED + 2);
    let mut node = Node::new(&TABLE, build_name("fuzz"));
    let counters = Default::default();
    let greeting = Message::Hello(hello(&TABLE, Role::Host, build_name("host")));
    let _ = node.take(Stamp::default(), &greeting, &counters);
    let begin = Message::Begin(Begin { mode: Mode::Lockstep, lost_ticks: 9, trace: None });
    let _ = node.take(Stamp { sequence: 1, tick: 0 }, &begin, &counters);
    let mut good = 0;
    for run in 0..RUNS {
        let call = Call { inputs: Inputs::default(), called: true, ..Call::default() };
        let stamp = Stamp { sequence: 2 + (run % 30_000) as u16, tick: run };
        let said = node.take(stamp, &Message::Call(call), &counters);
        let Some(wire) = said.filter(|_| run % 3 > 0) else {
            let noise = any(&mut random, bodies::ANSWER);
            good += bodies::host(&noise);
            continue;
        };
        let mut payload = body(wire.bytes())[7..].to_vec();
        assert_eq!(payload.len(), bodies::ANSWER);
        damage(&mut random, &mut payload);
        good += bodies::host(&payload);
    }
    assert!(good > RUNS / 10, "seed {SEED}: only {good} good answers");
}
