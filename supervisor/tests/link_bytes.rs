//! The link's bytes: the page's examples, the checksum and the stuffing against what others
//! publish, every message there and back.

use proptest::prelude::*;
use supervisor::bits::Bits;
use supervisor::check::TableFault;
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Orders, Speed, Torque};
use supervisor::link::answer::{Answer, Memory};
use supervisor::link::crc::crc32c;
use supervisor::link::frame::{HEAD, Stamp, TAIL, message_of};
use supervisor::link::message::{Call, Differs};
use supervisor::link::node::build_name;
use supervisor::link::receiver::{Order, order_of};
use supervisor::link::{Begin, Hello, MAX_BODY, Message, Mode, Receiver, Role, Wire, cobs};
use supervisor::status::{Faults, Phase, Refusal, Status};
use supervisor::table::Why;

/// The page of the link, which holds the bytes.
const PAGE: &str = include_str!("../../docs/rig-link.md");

const STAMP: Stamp = Stamp { sequence: 258, tick: 66051 };

fn examples() -> Vec<(&'static str, Message)> {
    let mut inputs = Inputs { request: Some(2), demand_nm: 100.0, ..Inputs::default() };
    inputs.speeds[0] = Speed { radps: 1.5, valid: true };
    inputs.reports[..2].copy_from_slice(&[LockReport::Closed, LockReport::Open]);
    inputs.engine_running = true;
    vec![
        (
            "hello of a host",
            Message::Hello(Hello {
                protocol: supervisor::link::PROTOCOL,
                table_format: 1,
                table_hash: 0x00c0_ffee,
                tick_us: 1000,
                role: Role::Host,
                build: build_name("demo"),
            }),
        ),
        ("refused, hash", Message::Refused(Differs::TableHash)),
        (
            "begin, lockstep",
            Message::Begin(Begin { mode: Mode::Lockstep, lost_ticks: 50, trace: None }),
        ),
        ("call: first speed", Message::Call(Call { inputs, called: true, ..Call::default() })),
        ("end:", Message::End),
    ]
}

fn hex(bytes: &[u8]) -> String {
    let lines: Vec<String> = bytes
        .chunks(16)
        .map(|c| c.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" "))
        .collect();
    lines.join("\n")
}

/// The examples of the page are what is sent, byte by byte.
#[test]
fn the_page_shows_what_is_sent() {
    let mut wrong = Vec::new();
    for (what, message) in examples() {
        let section = PAGE.split(&format!("\n{what}")).nth(1).expect("an example");
        let shown = section.split("```text\n").nth(1).and_then(|s| s.split("\n```").next());
        let sent = hex(Wire::new(STAMP, &message).bytes());
        if shown != Some(&sent) {
            wrong.push(format!("{what}\n{sent}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// Lengths in the page's table of kinds.
#[test]
fn the_page_names_every_kind_with_its_length() {
    let page = PAGE.split("## Kinds").nth(1).expect("a section");
    let mut messages: Vec<Message> = examples().into_iter().map(|e| e.1).collect();
    messages.extend([Message::Ready, Message::Answer(Answer::default())]);
    for message in messages {
        let wire = Wire::new(STAMP, &message);
        let mut coded = wire.bytes()[..wire.bytes().len() - 1].to_vec();
        let body = cobs::decode(&mut coded).expect("own encoding").len();
        assert!(body <= MAX_BODY);
        let start = format!("| {} | ", message.kind());
        let row = page.lines().find(|l| l.starts_with(&start)).expect("a row");
        let length: usize =
            row.split('|').nth(4).expect("a cell").trim().parse().expect("a number");
        assert_eq!(body - HEAD - TAIL, length, "{row}");
    }
}

/// RFC 3720 (iSCSI), appendix B.4: CRC-32C of 32 zeros, 32 ones, and 0 to 31.
#[test]
fn the_checksum_is_the_published_one() {
    let rising: Vec<u8> = (0..32).collect();
    assert_eq!(crc32c(&[0; 32]), 0x8a91_36aa);
    assert_eq!(crc32c(&[0xff; 32]), 0x62a8_ab43);
    assert_eq!(crc32c(&rising), 0x46dd_794e);
    assert_eq!(crc32c(b"123456789"), 0xe306_9283);
}

/// Examples of the paper's scheme as they are commonly shown (from memory).
#[test]
fn stuffing_is_the_published_one() {
    for (body, coded) in [
        (&[][..], &[1][..]),
        (&[0], &[1, 1]),
        (&[0, 0], &[1, 1, 1]),
        (&[0x11, 0x22, 0, 0x33], &[3, 0x11, 0x22, 2, 0x33]),
        (&[0x11, 0x22, 0x33, 0x44], &[5, 0x11, 0x22, 0x33, 0x44]),
        (&[0x11, 0, 0, 0], &[2, 0x11, 1, 1, 1]),
    ] {
        let mut out = [0xaa; 16];
        assert_eq!(cobs::encode(body, &mut out), Some(coded.len()));
        assert_eq!(&out[..coded.len()], coded);
        assert_eq!(cobs::decode(&mut out[..coded.len()]), Some(body));
    }
    assert_eq!(cobs::decode(&mut [3, 1]), None, "shorter than it says");
    assert_eq!(cobs::decode(&mut [0]), None);
    assert_eq!(cobs::decode(&mut [3, 0, 1]), None, "a zero within");
    assert_eq!(cobs::encode(&[1; 254], &mut [0; 300]), None, "too long");
    assert_eq!(cobs::encode(&[1; 8], &mut [0; 8]), None, "no room");
}

fn speed() -> impl Strategy<Value = Speed> {
    (any::<u32>(), any::<bool>())
        .prop_map(|(bits, valid)| Speed { radps: f32::from_bits(bits), valid })
}

fn report() -> impl Strategy<Value = LockReport> {
    prop_oneof![Just(LockReport::Open), Just(LockReport::Closed), Just(LockReport::Missing)]
}

fn torque() -> impl Strategy<Value = Torque> {
    (any::<u32>(), any::<bool>())
        .prop_map(|(bits, valid)| Torque { nm: f32::from_bits(bits), valid })
}

fn index() -> impl Strategy<Value = Option<u8>> {
    prop_oneof![Just(None), (0u8..255).prop_map(Some)]
}

prop_compose! {
    fn call()(
        speeds in prop::array::uniform8(speed()),
        reports in prop::array::uniform8(report()),
        torques in prop::array::uniform4(torque()),
        request in index(),
        demand_nm in any::<u32>().prop_map(f32::from_bits),
        flags: [bool; 4],
    ) -> Call {
        let [engine_running, called, warm_reset, cold_reset] = flags;
        let inputs = Inputs { speeds, reports, torques, request, demand_nm, engine_running };
        Call { inputs, called, warm_reset, cold_reset }
    }
}

fn machine_order() -> impl Strategy<Value = MachineOrder> {
    let number = any::<u32>().prop_map(f32::from_bits);
    prop_oneof![
        Just(MachineOrder::Free),
        number.clone().prop_map(|target_radps| MachineOrder::HoldSpeed { target_radps }),
        number.prop_map(|nm| MachineOrder::TakeTorque { nm }),
        Just(MachineOrder::Unload),
        Just(MachineOrder::Off),
    ]
}

fn refusal() -> impl Strategy<Value = Refusal> {
    let why = (0u8..6).prop_map(|code| Refusal::NoWay(Why::from_code(code)));
    let by_lock = (any::<u8>(), 0..9).prop_map(|(lock, kind)| match kind {
        0 => Refusal::ArrangementSpeed { arrangement: lock },
        1 => Refusal::Hot { lock },
        2 => Refusal::Switch { lock },
        3 => Refusal::SyncTimeout { lock },
        4 => Refusal::UnloadTimeout { lock },
        5 => Refusal::NotClosed { lock },
        6 => Refusal::NotOpened { lock },
        7 => Refusal::Interlock { lock },
        _ => Refusal::Table(TableFault::Arrangement(lock)),
    });
    let by_step = (any::<u16>(), 0..5).prop_map(|(step, kind)| match kind {
        0 => Refusal::RoadSpeed { step },
        1 => Refusal::TargetSpeed { step },
        2 => Refusal::Torque { step },
        3 => Refusal::Sensors { step },
        _ => Refusal::Table(TableFault::Step(step)),
    });
    let plain = prop::sample::select(vec![
        Refusal::EngineNotRunning,
        Refusal::NotCalm,
        Refusal::OverlapTooLong,
        Refusal::Table(TableFault::Format),
        Refusal::Table(TableFault::Size),
        Refusal::Table(TableFault::Timing),
        Refusal::Table(TableFault::Sensors),
        Refusal::Table(TableFault::Lock(3)),
        Refusal::Table(TableFault::Relation),
        Refusal::Table(TableFault::Conflict),
        Refusal::Table(TableFault::Hash),
    ]);
    prop_oneof![why, by_lock, by_step, plain]
}

fn phase() -> impl Strategy<Value = Phase> {
    (any::<u16>(), any::<u16>(), 0..6).prop_map(|(step, ready, kind)| match kind {
        0 => Phase::Wake,
        1 => Phase::Rest,
        2 => Phase::Prepare { step, ready },
        3 => Phase::Closing { step },
        4 => Phase::Opening { step },
        _ => Phase::Settle,
    })
}

prop_compose! {
    fn answer()(
        locks in prop::array::uniform8(prop::sample::select(vec![LockOrder::Open, LockOrder::Prefill, LockOrder::Close])),
        machines in prop::array::uniform4(machine_order()),
        sets: [u8; 8],
        arrangement in index(),
        goal in index(),
        phase in phase(),
        refusal in prop::option::of(refusal()),
        bytes in prop::collection::vec(any::<u8>(), 96),
        rise_k: [u32; 8],
        flags: [bool; 2],
        counts: [u16; 2],
    ) -> Answer {
        let [held, possibly_closed, stuck_open, stuck_closed, switch, lost, sensors, racing] = sets.map(Bits);
        let faults = Faults { stuck_open, stuck_closed, switch, lost, sensors, racing };
        let status = Status { held, possibly_closed, arrangement, goal, phase, refusal, faults };
        let mut memory = Memory { rise_k, ..Memory::default() };
        memory.kernel.rest.copy_from_slice(&bytes[..32]);
        for (part, chunk) in memory.kernel.locks.iter_mut().zip(bytes[32..].chunks_exact(8)) {
            part.copy_from_slice(chunk);
        }
        Answer {
            orders: Orders { locks, machines, engine_run: flags[0] },
            status,
            memory,
            was_lost: flags[1],
            bad_frames: counts[0],
            stale_frames: counts[1],
        }
    }
}

/// Any message.
fn message() -> impl Strategy<Value = Message> {
    let hello = (any::<[u32; 3]>(), any::<[u16; 2]>(), any::<[u8; 16]>(), any::<bool>()).prop_map(
        |([hash, tick, _], [protocol, format], build, board)| {
            let role = if board { Role::Board } else { Role::Host };
            Message::Hello(Hello {
                protocol,
                table_format: format,
                table_hash: hash,
                tick_us: tick,
                role,
                build,
            })
        },
    );
    let trace = prop::option::of(prop::collection::vec(any::<u8>(), 42));
    let begin = (any::<bool>(), 1u16.., trace).prop_map(|(real, lost_ticks, trace)| {
        let mode = if real { Mode::RealTime } else { Mode::Lockstep };
        let trace = trace.map(|t| t.try_into().expect("42 bytes"));
        Message::Begin(Begin { mode, lost_ticks, trace })
    });
    let refused = prop::sample::select(vec![
        Differs::Protocol,
        Differs::TableFormat,
        Differs::TableHash,
        Differs::Tick,
        Differs::Role,
        Differs::TableDamaged,
    ]);
    prop_oneof![
        hello,
        begin,
        refused.prop_map(Message::Refused),
        call().prop_map(Message::Call),
        answer().prop_map(Message::Answer),
        Just(Message::Ready),
        Just(Message::End),
    ]
}

fn receive(receiver: &mut Receiver, bytes: &[u8]) -> Vec<(Stamp, Vec<u8>)> {
    let got = bytes.iter().filter_map(|byte| receiver.byte(*byte));
    // Compared as bytes: a NaN is not equal to itself.
    got.map(|(stamp, message)| (stamp, Wire::new(stamp, &message).bytes().to_vec())).collect()
}

fn stamp() -> impl Strategy<Value = Stamp> {
    (any::<u16>(), any::<u32>()).prop_map(|(sequence, tick)| Stamp { sequence, tick })
}

proptest! {
    #[test]
    fn every_message_comes_back(stamp in stamp(), message in message()) {
        let wire = Wire::new(stamp, &message);
        let bytes = wire.bytes();
        prop_assert!(!bytes.is_empty() && bytes.iter().filter(|b| **b == 0).count() == 1);
        let got = receive(&mut Receiver::new(), bytes);
        prop_assert_eq!(got, vec![(stamp, bytes.to_vec())]);
    }

    /// One frame damaged in one to three bits of its coded part, between two sound ones: the sound
    /// ones arrive, the damaged one never does (CRC-32C finds up to 3 flipped bits at this length;
    /// Koopman, DSN 2002: Hamming distance 6 up to 5,243 bits), and it is counted.
    #[test]
    fn a_damaged_frame_never_arrives(
        message in message(), flips in prop::collection::vec(any::<prop::sample::Index>(), 1..=3),
    ) {
        let sound = Wire::new(STAMP, &Message::Ready);
        let wire = Wire::new(STAMP, &message);
        let mut damaged = wire.bytes().to_vec();
        let bits = (damaged.len() - 1) * 8;
        for flip in &flips {
            let bit = flip.index(bits);
            damaged[bit / 8] ^= 1 << (bit % 8);
        }
        prop_assume!(damaged != wire.bytes());
        let mut receiver = Receiver::new();
        let mut sent = sound.bytes().to_vec();
        sent.extend(&damaged);
        sent.extend(sound.bytes());
        let got = receive(&mut receiver, &sent);
        let ready = (STAMP, sound.bytes().to_vec());
        // A flip may make a zero, which splits the frame.
        prop_assert_eq!(got, vec![ready.clone(), ready]);
        let counters = receiver.counters;
        prop_assert!(counters.good == 2 && (1..=4).contains(&counters.bad()), "{:?}", counters);
    }

    /// Cut short anywhere, the rest lost: the next frame arrives or is the one that is lost with
    /// it, and the one after arrives.
    #[test]
    fn after_a_cut_frame_the_next_but_one_arrives(message in message(), cut in any::<prop::sample::Index>()) {
        let wire = Wire::new(STAMP, &message);
        let sound = Wire::new(STAMP, &Message::End);
        let mut sent = wire.bytes()[..cut.index(wire.bytes().len() - 1)].to_vec();
        sent.extend(sound.bytes());
        sent.extend(sound.bytes());
        let got = receive(&mut Receiver::new(), &sent);
        prop_assert!(!got.is_empty() && got.len() <= 2);
        prop_assert!(got.iter().all(|g| g.1 == sound.bytes()));
    }

    /// Any bytes: no panic, and nothing is taken for a message that is not one, byte by byte.
    #[test]
    fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        let mut receiver = Receiver::new();
        let got = receive(&mut receiver, &bytes);
        for (_, wire) in &got {
            let found = bytes.windows(wire.len()).any(|w| w == &wire[..]);
            prop_assert!(found, "made up a message");
        }
        prop_assert_eq!(u32::try_from(got.len()), Ok(receiver.counters.good));
    }

    /// Bodies with a right checksum and any content: each is a message that encodes to the same
    /// bytes, or none.
    #[test]
    fn any_content_under_a_right_checksum(kind in 0u8..10, length in 0usize..180, fill in prop::collection::vec(0u8..6, 180)) {
        for length in [length, [29, 1, 29, 0, 58, 175, 0][usize::from(kind).saturating_sub(1) % 7]] {
            let mut body = vec![kind, 1, 0, 2, 0, 0, 0];
            body.extend(&fill[..length]);
            let crc = crc32c(&body);
            body.extend(crc.to_le_bytes());
            if let Ok((stamp, message)) = message_of(&body) {
                let wire = Wire::new(stamp, &message);
                let mut coded = wire.bytes()[..wire.bytes().len() - 1].to_vec();
                let again = cobs::decode(&mut coded).map(<[u8]>::to_vec);
                // Fields that an order or phase does not use are not kept.
                prop_assert_eq!(again.map(|b| b.len()), Some(body.len()));
            }
        }
    }

    #[test]
    fn stuffing_goes_there_and_back(body in prop::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 0..=253)) {
        let mut out = [0; 260];
        let length = cobs::encode(&body, &mut out).expect("room");
        prop_assert!(length == body.len() + 1 && !out[..length].contains(&0));
        prop_assert_eq!(cobs::decode(&mut out[..length]), Some(&body[..]));
    }

    /// Against the supervisor's own bitwise one.
    #[test]
    fn two_checksums_agree(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let mut bitwise = supervisor::hash::Crc32c::default();
        bitwise.bytes(&bytes);
        prop_assert_eq!(crc32c(&bytes), bitwise.finish());
    }

    /// A sequence number is newer than half of the others, older than the other half.
    #[test]
    fn sequence_numbers_have_an_order(a: u16, b: u16) {
        let (ab, ba) = (order_of(a, b), order_of(b, a));
        let expected = match i32::from(a) - i32::from(b) {
            0 => (Order::Again, Order::Again),
            32768 | -32768 => (Order::Old, Order::Old),
            d if (1..32768).contains(&d) || d < -32768 => (Order::New, Order::Old),
            _ => (Order::Old, Order::New),
        };
        prop_assert_eq!((ab, ba), expected);
    }
}

/// A frame that is longer than any is counted once, whatever comes before its end.
#[test]
fn a_flood_without_an_end_is_one_long_frame() {
    let mut receiver = Receiver::new();
    for _ in 0..1_000_000 {
        assert!(receiver.byte(0x55).is_none());
    }
    assert!(receiver.byte(0).is_none());
    assert_eq!((receiver.counters.long, receiver.counters.bad()), (1, 1));
    for _ in 0..1000 {
        assert!(receiver.byte(0).is_none(), "empty frames are nothing");
    }
    assert_eq!(receiver.counters.bad(), 1);
    let wire = Wire::new(STAMP, &Message::Ready);
    assert_eq!(receive(&mut receiver, wire.bytes()).len(), 1);
}
