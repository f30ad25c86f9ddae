//! The link's numbers: every value has the number that the page (`docs/rig-link.md`) gives it, at the
//! page's place, and what does not exist is refused, one value after the other.

use supervisor::bits::Bits;
use supervisor::check::TableFault;
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Orders};
use supervisor::link::answer::Answer;
use supervisor::link::crc::crc32c;
use supervisor::link::frame::{HEAD, NoMessage, Stamp, TAIL, message_of};
use supervisor::link::message::{Call, Differs};
use supervisor::link::receiver::Counters;
use supervisor::link::{Begin, Hello, MAX_BODY, Message, Mode, Receiver, Role, Wire, cobs};
use supervisor::status::{Faults, Phase, Refusal, Status};
use supervisor::table::Why;

const STAMP: Stamp = Stamp { sequence: 0x0102, tick: 0x0304_0506 };

/// Head and payload as they are sent, before checksum and coding.
fn content(message: &Message) -> Vec<u8> {
    let wire = Wire::new(STAMP, message);
    let (_, coded) = wire.bytes().split_last().expect("a frame");
    let mut coded = coded.to_vec();
    let body = cobs::decode(&mut coded).expect("own encoding");
    body[..body.len() - TAIL].to_vec()
}

fn payload(message: &Message) -> Vec<u8> {
    content(message)[HEAD..].to_vec()
}

/// What a receiver makes of this content under a right checksum.
fn read(content: &[u8]) -> Result<(Stamp, Message), NoMessage> {
    let mut body = content.to_vec();
    body.extend(crc32c(content).to_le_bytes());
    message_of(&body)
}

fn answer(status: Status) -> Message {
    Message::Answer(Answer { status, ..Answer::default() })
}

fn call() -> Call {
    Call { called: true, ..Call::default() }
}

fn begin() -> Begin {
    Begin { mode: Mode::Lockstep, lost_ticks: 1, trace: None }
}

fn hello() -> Hello {
    Hello {
        protocol: 0x0102,
        table_format: 0x0304,
        table_hash: 0x0506_0708,
        tick_us: 0x090a_0b0c,
        role: Role::Host,
        build: *b"0123456789abcdef",
    }
}

/// The numbers of the page's list of refusals: kind, small, large.
fn refusals() -> Vec<(Refusal, u8, u8, u16)> {
    let (lock, step, arrangement) = (7, 0x1234, 9);
    let mut list = vec![
        (Refusal::ArrangementSpeed { arrangement }, 2, 9, 0),
        (Refusal::RoadSpeed { step }, 3, 0, step),
        (Refusal::TargetSpeed { step }, 4, 0, step),
        (Refusal::Torque { step }, 5, 0, step),
        (Refusal::Hot { lock }, 6, 7, 0),
        (Refusal::EngineNotRunning, 7, 0, 0),
        (Refusal::Sensors { step }, 8, 0, step),
        (Refusal::NotCalm, 9, 0, 0),
        (Refusal::Switch { lock }, 10, 7, 0),
        (Refusal::SyncTimeout { lock }, 11, 7, 0),
        (Refusal::UnloadTimeout { lock }, 12, 7, 0),
        (Refusal::NotClosed { lock }, 13, 7, 0),
        (Refusal::NotOpened { lock }, 14, 7, 0),
        (Refusal::Interlock { lock }, 15, 7, 0),
        (Refusal::OverlapTooLong, 17, 0, 0),
    ];
    for (small, why) in (0u8..).zip([
        Why::Arrived,
        Why::Conflict,
        Why::NothingSynchronises,
        Why::Stuck,
        Why::Impossible,
        Why::NoOtherWay,
    ]) {
        list.push((Refusal::NoWay(why), 1, small, 0));
    }
    for (small, fault, large) in [
        (0, TableFault::Format, 0),
        (1, TableFault::Size, 0),
        (2, TableFault::Timing, 0),
        (3, TableFault::Sensors, 0),
        (4, TableFault::Lock(7), 7),
        (5, TableFault::Relation, 0),
        (6, TableFault::Conflict, 0),
        (7, TableFault::Arrangement(9), 9),
        (8, TableFault::Step(step), step),
        (9, TableFault::Hash, 0),
    ] {
        list.push((Refusal::Table(fault), 16, small, large));
    }
    list
}

#[test]
fn refusals_have_the_numbers_of_the_page() {
    let list = refusals();
    assert_eq!(list.len(), 31, "each once");
    for (refusal, kind, small, large) in list {
        let message = answer(Status { refusal: Some(refusal), ..Status::default() });
        let [low, high] = large.to_le_bytes();
        assert_eq!(payload(&message)[32..36], [kind, small, low, high], "{refusal:?}");
        assert_eq!(read(&content(&message)), Ok((STAMP, message)), "{refusal:?}");
    }
    assert_eq!(payload(&answer(Status::default()))[32..36], [0; 4], "none");
}

/// Kinds and numbers that no refusal has.
#[test]
fn a_refusal_that_does_not_exist_is_no_message() {
    let sound = content(&answer(Status::default()));
    for kind in 0..=255u8 {
        for small in 0..=255u8 {
            for large in [0, 1, 255, 256, 0xffff_u16] {
                let exists = match (kind, small) {
                    (1, small) => small <= 5,
                    // A lock or arrangement has one byte.
                    (16, 4 | 7) => large <= 255,
                    (16, small) => small <= 9,
                    (kind, _) => kind <= 17,
                };
                let mut bytes = sound.clone();
                let [low, high] = large.to_le_bytes();
                bytes[HEAD + 32..HEAD + 36].copy_from_slice(&[kind, small, low, high]);
                assert_eq!(read(&bytes).is_ok(), exists, "{kind} {small} {large}");
            }
        }
    }
}

#[test]
fn phases_and_orders_have_the_numbers_of_the_page() {
    let (step, ready) = (0x0102, 0x0304);
    for (phase, bytes) in [
        (Phase::Wake, [0, 0, 0, 0, 0]),
        (Phase::Rest, [1, 0, 0, 0, 0]),
        (Phase::Prepare { step, ready }, [2, 2, 1, 4, 3]),
        (Phase::Closing { step }, [3, 2, 1, 0, 0]),
        (Phase::Opening { step }, [4, 2, 1, 0, 0]),
        (Phase::Settle, [5, 0, 0, 0, 0]),
    ] {
        let message = answer(Status { phase, ..Status::default() });
        assert_eq!(payload(&message)[27..32], bytes, "{phase:?}");
        assert_eq!(read(&content(&message)), Ok((STAMP, message)), "{phase:?}");
    }
    // 1.5 is 0x3fc00000 in IEEE 754.
    for (order, bytes) in [
        (MachineOrder::Free, [0, 0, 0, 0, 0]),
        (MachineOrder::HoldSpeed { target_radps: 1.5 }, [1, 0, 0, 0xc0, 0x3f]),
        (MachineOrder::TakeTorque { nm: 1.5 }, [2, 0, 0, 0xc0, 0x3f]),
        (MachineOrder::Unload, [3, 0, 0, 0, 0]),
        (MachineOrder::Off, [4, 0, 0, 0, 0]),
    ] {
        for machine in 0..4 {
            let mut orders = Orders::default();
            orders.machines[machine] = order;
            let message = Message::Answer(Answer { orders, ..Answer::default() });
            let at = 2 + 5 * machine;
            assert_eq!(payload(&message)[at..at + 5], bytes, "{order:?} of {machine}");
            assert_eq!(read(&content(&message)), Ok((STAMP, message)));
        }
    }
}

/// What stands in an answer beside those, each in its byte.
#[test]
fn an_answer_is_laid_out_as_the_page_says() {
    use LockOrder::{Close, Open, Prefill};
    let [stuck_open, stuck_closed, switch, lost, sensors, racing] = [1, 2, 3, 4, 5, 6].map(Bits);
    let faults = Faults { stuck_open, stuck_closed, switch, lost, sensors, racing };
    let status = Status {
        held: Bits(0x11),
        possibly_closed: Bits(0x22),
        arrangement: Some(3),
        faults,
        ..Status::default()
    };
    let locks = [Close, Prefill, Open, Open, Open, Open, Prefill, Close];
    let orders = Orders { locks, engine_run: true, ..Orders::default() };
    let counters = Counters {
        long: 1,
        coding: 2,
        short: 4,
        crc: 8,
        content: 0x0210,
        stale: 0x70304,
        good: 99,
    };
    assert_eq!(counters.bad(), 0x021f);
    let plain = Answer { orders, status, ..Answer::default() };
    let bytes = payload(&Message::Answer(plain.with_counts(true, &counters)));
    assert_eq!(bytes[..2], [0b1000_0001, 0b0100_0010]);
    assert_eq!(bytes[22..27], [1, 0x11, 0x22, 3, 255]);
    assert_eq!(bytes[36..42], [1, 2, 3, 4, 5, 6]);
    // What is counted wraps.
    assert_eq!(bytes[170..], [1, 0x1f, 2, 4, 3]);
    let full = Counters { crc: u32::MAX, ..counters };
    assert_eq!(full.bad(), u32::MAX, "the sum ends at the largest number");
}

#[test]
fn a_call_is_laid_out_as_the_page_says() {
    use LockReport::{Closed, Missing, Open};
    let mut inputs = Inputs { request: Some(6), demand_nm: 1.5, ..Inputs::default() };
    inputs.speeds[1].radps = 1.5;
    inputs.speeds[2].valid = true;
    inputs.torques[1].nm = 1.5;
    inputs.torques[3].valid = true;
    inputs.reports = [Closed, Open, Missing, Missing, Missing, Missing, Open, Closed];
    let plain = Call { inputs, ..Call::default() };
    let mut expected = vec![0; 58];
    expected[4..8].copy_from_slice(&[0, 0, 0xc0, 0x3f]);
    expected[32..35].copy_from_slice(&[0b100, 0b1000_0001, 0b0100_0010]);
    expected[39..43].copy_from_slice(&[0, 0, 0xc0, 0x3f]);
    expected[51..57].copy_from_slice(&[0b1000, 6, 0, 0, 0xc0, 0x3f]);
    for flags in 0..16u8 {
        let has = |bit: u8| flags >> bit & 1 == 1;
        let inputs = Inputs { engine_running: has(0), ..inputs };
        let call = Call { inputs, called: has(1), warm_reset: has(2), cold_reset: has(3) };
        expected[57] = flags;
        assert_eq!(payload(&Message::Call(call)), expected);
        let back = read(&content(&Message::Call(call)));
        assert_eq!(back, Ok((STAMP, Message::Call(call))));
    }
    assert!(!plain.called && plain.inputs.request == Some(6));
}

#[test]
fn a_hello_and_a_beginning_are_laid_out_as_the_page_says() {
    for (role, side) in [(Role::Host, 0), (Role::Board, 1)] {
        let hello = Message::Hello(Hello { role, ..hello() });
        let mut expected = vec![2, 1, 4, 3, 8, 7, 6, 5, 12, 11, 10, 9, side];
        expected.extend(b"0123456789abcdef");
        assert_eq!(payload(&hello), expected);
        assert_eq!(read(&content(&hello)), Ok((STAMP, hello)));
    }
    let trace: [u8; 42] = core::array::from_fn(|i| i as u8 + 1);
    for (mode, kept, flags) in [
        (Mode::Lockstep, None, 0),
        (Mode::RealTime, None, 1),
        (Mode::Lockstep, Some(trace), 2),
        (Mode::RealTime, Some(trace), 3),
    ] {
        let begin = Message::Begin(Begin { mode, lost_ticks: 0x0102, trace: kept });
        let mut expected = vec![flags, 2, 1];
        expected.extend(kept.unwrap_or([0; 42]));
        assert_eq!(payload(&begin), expected);
        assert_eq!(read(&content(&begin)), Ok((STAMP, begin)));
    }
}

/// Which values of a byte exist; of every other one the frame is no message.
#[test]
fn a_value_that_does_not_exist_is_no_message() {
    let mut orders = Orders::default();
    (orders.locks[0], orders.locks[2]) = (LockOrder::Close, LockOrder::Close);
    let answer = Message::Answer(Answer { orders, ..Answer::default() });
    let mut closed = call();
    (closed.inputs.reports[1], closed.inputs.reports[7]) = (LockReport::Closed, LockReport::Closed);
    let call = Message::Call(closed);
    type Exists = fn(u8) -> bool;
    let cases: [(&str, Message, usize, Exists); 18] = [
        ("side", Message::Hello(hello()), 12, |v| v < 2),
        ("what differs", Message::Refused(Differs::Role), 0, |v| v < 6),
        ("flags of a beginning", Message::Begin(begin()), 0, |v| v < 4),
        ("ticks until lost", Message::Begin(begin()), 1, |v| v > 0),
        ("a lock ordered closed and filled", answer, 1, |v| v & 0b101 == 0),
        ("order of machine 0", answer, 2, |v| v < 5),
        ("order of machine 3", answer, 17, |v| v < 5),
        ("engine", answer, 22, |v| v < 2),
        ("arrangement", answer, 25, |_| true),
        ("phase", answer, 27, |v| v < 6),
        ("lost", answer, 170, |v| v < 2),
        ("valid speeds", call, 32, |_| true),
        ("a lock said closed and open", call, 34, |v| v & 0b1000_0010 == 0),
        ("valid torques", call, 51, |v| v < 16),
        ("request", call, 52, |_| true),
        ("flags of a call", call, 57, |v| v < 16),
        ("build name", Message::Hello(hello()), 28, |_| true),
        ("trace", Message::Begin(begin()), 28, |_| true),
    ];
    for (what, message, at, exists) in cases {
        for value in 0..=255u8 {
            let mut bytes = content(&message);
            bytes[HEAD + at] = value;
            let read = read(&bytes);
            match exists(value) {
                true => assert!(read.is_ok(), "{what} {value}"),
                false => assert_eq!(read, Err(NoMessage::Content), "{what} {value}"),
            }
        }
    }
}

/// Every kind with a payload of its length, and with one byte less or more; kinds that there are not;
/// bodies without a head; a wrong checksum.
#[test]
fn a_frame_of_another_length_is_no_message() {
    let answer = answer(Status::default());
    let refused = Message::Refused(Differs::Tick);
    let (hello, begin, call) =
        (Message::Hello(hello()), Message::Begin(begin()), Message::Call(call()));
    for (kind, message) in
        (1u8..).zip([hello, refused, begin, Message::Ready, call, answer, Message::End])
    {
        let bytes = content(&message);
        assert_eq!((bytes[0], message.kind()), (kind, kind));
        assert_eq!(bytes[1..HEAD], [2, 1, 6, 5, 4, 3], "number and tick");
        let one_more: Vec<u8> = bytes.iter().copied().chain([0]).collect();
        assert_eq!(read(&one_more), Err(NoMessage::Content), "{kind}");
        let (_, one_less) = bytes.split_last().expect("a head");
        let why = if one_less.len() < HEAD { NoMessage::Short } else { NoMessage::Content };
        assert_eq!(read(one_less), Err(why), "{kind}");
        let mut torn = bytes.clone();
        torn.extend((crc32c(&bytes) ^ 0x8000_0000).to_le_bytes());
        assert_eq!(message_of(&torn), Err(NoMessage::Crc), "{kind}");
        for length in [0, 1, 29, 58, 175] {
            let mut strange = vec![kind.wrapping_add(if kind > 3 { 4 } else { 252 }); HEAD];
            strange.extend(vec![1; length]);
            assert_eq!(read(&strange), Err(NoMessage::Content), "{} {length}", strange[0]);
        }
    }
    for length in 0..TAIL {
        assert_eq!(message_of(&vec![0; length]), Err(NoMessage::Short), "{length}");
    }
    for length in 0..HEAD {
        assert_eq!(read(&vec![4; length]), Err(NoMessage::Short), "{length}");
    }
}

/// Each sort of bad frame is counted as its own, and the next frame arrives.
#[test]
fn bad_frames_are_counted_by_sort() {
    let coded = |body: &[u8]| {
        let mut out = [0; 300];
        let length = cobs::encode(body, &mut out).expect("room");
        let mut wire = out[..length].to_vec();
        wire.push(0);
        wire
    };
    let mut strange = vec![99; HEAD];
    strange.extend(crc32c(&strange).to_le_bytes());
    let mut torn = strange.clone();
    torn[0] = 4;
    let sound = Wire::new(STAMP, &Message::End);
    // A body of the greatest length is no long frame; one byte more is one.
    for (what, bytes, sort) in [
        ("long", [vec![0x55; MAX_BODY + 3], vec![0]].concat(), 0),
        ("no encoding", vec![9, 1, 0], 1),
        ("short", coded(&[1, 2, 3]), 2),
        ("checksum", coded(&torn), 3),
        ("longest", coded(&[7; MAX_BODY]), 3),
        ("content", coded(&strange), 4),
        ("nothing", vec![0, 0, 0], 5),
    ] {
        let mut receiver = Receiver::new();
        assert!(bytes.iter().all(|&byte| receiver.byte(byte).is_none()), "{what}");
        let got: Vec<_> = sound.bytes().iter().filter_map(|&byte| receiver.byte(byte)).collect();
        assert_eq!(got, [(STAMP, Message::End)], "{what}");
        let c = receiver.counters;
        let mut expected = [0; 6];
        expected[sort] = 1;
        expected[5] = 0;
        assert_eq!([c.long, c.coding, c.short, c.crc, c.content, c.stale], expected, "{what}");
        assert_eq!((c.good, c.bad()), (1, u32::from(sort < 5)), "{what}");
    }
}
