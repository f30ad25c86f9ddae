//! The board's end of the link, driven by a hostile host: what it does on bad, old, repeated and
//! missing frames, judged against a supervisor of its own that gets the good ones only.

use proptest::prelude::*;
use random::Random;
use shuttle::TABLE;
use supervisor::Supervisor;
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Orders, Speed};
use supervisor::link::answer::Answer;
use supervisor::link::frame::Stamp;
use supervisor::link::message::{Call, Differs};
use supervisor::link::node::{Session, build_name, hello};
use supervisor::link::{Begin, Hello, Message, Mode, Node, PROTOCOL, Receiver, Role, Wire};
use supervisor::trace::Trace;

/// The one seeded generator, of the plant.
#[allow(dead_code, unreachable_pub)]
#[path = "../../host-sim/src/plant/random.rs"]
mod random;

/// A generated table for any crate.
#[allow(unreachable_pub)]
#[path = "../../tests/src/tables/shuttle.rs"]
mod shuttle;

/// A board and the receivers at both ends of its wire.
struct Board {
    node: Node<'static>,
    receiver: Receiver,
    back: Receiver,
}

impl Board {
    fn new() -> Board {
        let node = Node::new(&TABLE, build_name("test"));
        Board { node, receiver: Receiver::new(), back: Receiver::new() }
    }

    /// Bytes to the board; what it says to them.
    fn bytes(&mut self, bytes: &[u8]) -> Vec<(Stamp, Message)> {
        let mut said = Vec::new();
        for byte in bytes {
            let Some((stamp, message)) = self.receiver.byte(*byte) else { continue };
            let counters = self.receiver.counters;
            let Some(wire) = self.node.take(stamp, &message, &counters) else { continue };
            said.extend(wire.bytes().iter().filter_map(|b| self.back.byte(*b)));
        }
        said
    }

    fn say(&mut self, sequence: u16, tick: u32, message: Message) -> Vec<(Stamp, Message)> {
        self.bytes(Wire::new(Stamp { sequence, tick }, &message).bytes())
    }

    /// A board in a run.
    fn running(mode: Mode) -> Board {
        let mut board = Board::new();
        assert!(matches!(board.say(1, 0, host_hello())[..], [(_, Message::Hello(_))]));
        let begin = Begin { mode, lost_ticks: 20, trace: None };
        assert!(matches!(board.say(2, 0, Message::Begin(begin))[..], [(_, Message::Ready)]));
        board
    }
}

fn host_hello() -> Message {
    Message::Hello(hello(&TABLE, Role::Host, build_name("host")))
}

/// Plausible inputs with a bit of everything.
fn inputs(random: &mut Random) -> Inputs {
    let mut inputs = Inputs::default();
    for speed in &mut inputs.speeds {
        *speed = Speed { radps: random.below(200) as f32 - 100.0, valid: random.below(20) != 0 };
    }
    for report in &mut inputs.reports {
        let list = [LockReport::Open, LockReport::Closed, LockReport::Missing];
        *report = list[random.below(3) as usize];
    }
    inputs.request = Some(random.below(5) as u8);
    inputs.demand_nm = random.below(500) as f32;
    inputs
}

fn answer_of(said: &[(Stamp, Message)]) -> Option<(Stamp, Answer)> {
    match said {
        [(stamp, Message::Answer(answer))] => Some((*stamp, *answer)),
        _ => None,
    }
}

#[test]
fn a_hello_that_differs_is_refused_in_words() {
    let own = hello(&TABLE, Role::Host, build_name("host"));
    for (theirs, differs) in [
        (Hello { protocol: PROTOCOL + 1, ..own }, Differs::Protocol),
        (Hello { table_format: 9, ..own }, Differs::TableFormat),
        (Hello { table_hash: own.table_hash ^ 1, ..own }, Differs::TableHash),
        (Hello { tick_us: 2000, ..own }, Differs::Tick),
        (Hello { role: Role::Board, ..own }, Differs::Role),
    ] {
        let mut board = Board::new();
        let said = board.say(1, 0, Message::Hello(theirs));
        assert!(matches!(said[..], [(_, Message::Refused(d))] if d == differs), "{said:?}");
        assert_eq!(board.node.session(), Session::Idle);
        let begin = Begin { mode: Mode::Lockstep, lost_ticks: 1, trace: None };
        assert!(board.say(2, 0, Message::Begin(begin)).is_empty(), "begun without agreement");
        let call = Call { called: true, ..Call::default() };
        assert!(board.say(3, 0, Message::Call(call)).is_empty());
        assert_eq!(board.node.orders().machines, [MachineOrder::Off; 4]);
    }
}

/// A table that is not what it was when it was made is never run.
#[test]
fn a_damaged_table_is_refused() {
    let mut table = TABLE;
    table.engine_min += 1.0;
    let mut node = Node::new(&table, build_name("test"));
    assert!(node.table_is_damaged() && !Node::new(&TABLE, build_name("test")).table_is_damaged());
    let Message::Hello(theirs) = host_hello() else { return };
    let wire = node.take(Stamp::default(), &Message::Hello(theirs), &Default::default());
    let mut back = Receiver::new();
    let said = wire.expect("an answer").bytes().iter().find_map(|b| back.byte(*b));
    assert!(matches!(said, Some((_, Message::Refused(Differs::TableDamaged)))), "{said:?}");
}

/// Whatever was ordered: no machine gives torque and no engine is asked to run; locks stay as they are.
#[test]
fn safe_orders_let_everything_run_down() {
    let mut orders = Orders { engine_run: true, ..Orders::default() };
    orders.machines = [MachineOrder::TakeTorque { nm: 50.0 }; supervisor::bits::MAX_MACHINES];
    orders.locks[1] = LockOrder::Close;
    orders.locks[2] = LockOrder::Prefill;
    let safe = supervisor::link::node::safe(&orders).orders;
    assert!(safe.machines.iter().all(|order| *order == MachineOrder::Off) && !safe.engine_run);
    assert_eq!(safe.locks, orders.locks);
}

/// A hello tells the table's tick in whole microseconds, to the nearest: a time in `f32` may lie a little
/// below them.
#[test]
fn a_hello_tells_the_tick() {
    for us in (1..=50_000).step_by(7) {
        let mut table = TABLE;
        table.timing.tick_s = (f64::from(us) / 1e6) as f32;
        assert_eq!(hello(&table, Role::Board, build_name("test")).tick_us, us);
    }
}

/// The trace that comes with the beginning is believed only with its checksum.
#[test]
fn a_run_begins_with_the_trace_that_it_was_given() {
    let pressed = Trace::pressing(supervisor::bits::Bits(1)).to_bytes(TABLE.hash);
    let mut torn = pressed;
    torn[0] ^= 2;
    for (trace, expected) in [
        (Some(pressed), Supervisor::after_reset(Trace::pressing(supervisor::bits::Bits(1)))),
        (Some(torn), Supervisor::new()),
        (None, Supervisor::new()),
    ] {
        let mut board = Board::running(Mode::Lockstep);
        let begin = Begin { mode: Mode::Lockstep, lost_ticks: 5, trace };
        board.say(9, 0, Message::Begin(begin));
        let mut mirror = expected;
        let mut seen = Inputs::default();
        seen.reports[0] = LockReport::Closed;
        let call = Call { inputs: seen, called: true, ..Call::default() };
        let (_, answer) = answer_of(&board.say(10, 1, Message::Call(call))).expect("an answer");
        let output = mirror.tick(&TABLE, &seen);
        assert_eq!(answer, Answer::of(&output, &mirror, &TABLE));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Lockstep over a wire that damages, drops, repeats, delays and floods: every answer is that
    /// of a supervisor that got exactly the good calls in order, each once.
    #[test]
    fn a_hostile_wire_never_gets_a_tick(seed: u64) {
        let mut random = Random::new(seed);
        let mut board = Board::running(Mode::Lockstep);
        let mut mirror = Supervisor::new();
        let mut sequence = 2u16;
        let mut old: Vec<Vec<u8>> = Vec::new();
        for tick in 0..60u32 {
            match random.below(8) {
                0 => {
                    let junk: Vec<u8> = (0..random.below(600)).map(|_| random.below(256) as u8).collect();
                    prop_assert!(board.bytes(&junk).is_empty());
                    // What is left of the junk spoils no more than one frame; a zero ends it.
                    prop_assert!(board.bytes(&[0]).is_empty());
                }
                1 if old.len() > 1 => {
                    let stale = &old[random.below(old.len() as u64 - 1) as usize];
                    prop_assert!(board.bytes(stale).is_empty(), "acted on an old frame");
                }
                2 if !old.is_empty() => {
                    let mut damaged = old[old.len() - 1].clone();
                    let at = random.below(damaged.len() as u64 - 1) as usize;
                    damaged[at] ^= 1 << random.below(8);
                    prop_assert!(board.bytes(&damaged).is_empty(), "acted on a damaged frame");
                }
                3 => {
                    let cut = Wire::new(Stamp { sequence, tick }, &host_hello());
                    prop_assert!(board.bytes(&cut.bytes()[..20]).is_empty());
                    prop_assert!(board.bytes(&[0]).is_empty());
                }
                _ => {}
            }
            sequence = sequence.wrapping_add(1 + random.below(3) as u16);
            let seen = inputs(&mut random);
            let called = random.below(10) != 0;
            let (warm_reset, cold_reset) = (random.below(30) == 0, random.below(30) == 0);
            let call = Call { inputs: seen, called, warm_reset, cold_reset };
            if cold_reset {
                mirror = Supervisor::new();
            } else if warm_reset {
                mirror = Supervisor::after_reset(mirror.trace());
            }
            let wire = Wire::new(Stamp { sequence, tick }, &Message::Call(call));
            let said = board.bytes(wire.bytes());
            let (stamp, answer) = answer_of(&said).expect("an answer");
            prop_assert_eq!(stamp, Stamp { sequence, tick });
            if called {
                let output = mirror.tick(&TABLE, &seen);
                let expected = Answer::of(&output, &mirror, &TABLE);
                prop_assert_eq!(answer.output(), expected.output());
                prop_assert_eq!(answer.memory, expected.memory);
            }
            if random.below(4) == 0 {
                // The answer was lost: the host asks again, and the supervisor gets no second tick.
                let again = answer_of(&board.bytes(wire.bytes())).expect("the same again");
                prop_assert_eq!(again.1, answer);
            }
            old.push(wire.bytes().to_vec());
        }
    }

    /// Any bytes from the start on: no run, no torque, no lock closed.
    #[test]
    fn without_agreement_nothing_moves(bytes in prop::collection::vec(any::<u8>(), 0..3000)) {
        let mut board = Board::new();
        prop_assert!(board.bytes(&bytes).is_empty());
        let orders = board.node.orders();
        prop_assert_eq!(orders.machines, [MachineOrder::Off; 4]);
        prop_assert!(orders.locks.iter().all(|l| *l == LockOrder::Open) && !orders.engine_run);
    }
}

/// Real time: the board ticks by itself on the inputs that came last, is lost after the stated
/// ticks and not one earlier, takes the torque away, closes nothing, and comes back.
#[test]
fn a_lost_link_is_safe_in_the_stated_time() {
    let mut board = Board::running(Mode::RealTime);
    let counters = Default::default();
    let mut seen = Inputs { demand_nm: 100.0, request: Some(0), ..Inputs::default() };
    seen.speeds.iter_mut().for_each(|s| s.valid = true);
    seen.reports = [LockReport::Open; 8];
    let call = |board: &mut Board, n: u16| {
        let call = Call { inputs: seen, called: true, ..Call::default() };
        assert!(board.say(n, u32::from(n), Message::Call(call)).is_empty());
    };
    for n in 3..200 {
        call(&mut board, n);
        assert!(board.node.timer(&counters).is_some());
        assert!(!board.node.is_lost());
    }
    for tick in 1..=40 {
        let _ = board.node.timer(&counters);
        // One tick has passed since the last call already.
        assert_eq!(board.node.is_lost(), tick + 1 >= 20, "tick {tick}");
        if board.node.is_lost() {
            let orders = board.node.orders();
            assert_eq!(orders.machines, [MachineOrder::Off; 4]);
            assert!(!orders.engine_run);
        }
    }
    call(&mut board, 300);
    assert!(!board.node.is_lost(), "back at once");
    let wire = board.node.timer(&counters).expect("an answer");
    let said: Vec<_> = wire.bytes().iter().filter_map(|b| board.back.byte(*b)).collect();
    assert!(answer_of(&said).expect("an answer").1.was_lost, "and it says so");
}

/// A host that knows of a run that the board does not is told so at once, by a hello.
#[test]
fn a_board_that_began_anew_says_so() {
    let mut board = Board::new();
    board.say(1, 0, host_hello());
    let call = Message::Call(Call { called: true, ..Call::default() });
    let said = board.say(2, 77, call);
    assert!(matches!(said[..], [(stamp, Message::Hello(_))] if stamp == Stamp::default()));
    assert_eq!(board.node.orders().machines, [MachineOrder::Off; 4]);
}

/// Lockstep: time without a call takes the torque away at the pins, but the run is not touched:
/// when the host comes back, the next answer is as if nothing had been.
#[test]
fn a_paused_host_finds_its_run_as_it_was() {
    let (mut board, mut twin) = (Board::running(Mode::Lockstep), Board::running(Mode::Lockstep));
    let mut random = Random::new(5);
    for n in 3..60u16 {
        let call =
            Message::Call(Call { inputs: inputs(&mut random), called: true, ..Call::default() });
        if n == 30 {
            for _ in 0..100 {
                assert!(board.node.timer(&Default::default()).is_none());
            }
            assert_eq!(board.node.orders().machines, [MachineOrder::Off; 4]);
            // The host comes back and says who it is.
            assert!(matches!(board.say(n, 0, host_hello())[..], [(_, Message::Hello(_))]));
        }
        let (_, a) = answer_of(&board.say(n, u32::from(n), call)).expect("an answer");
        let (_, b) = answer_of(&twin.say(n, u32::from(n), call)).expect("an answer");
        assert_eq!((a.was_lost, b.was_lost), (n == 30, false));
        assert_eq!((a.output(), a.memory), (b.output(), b.memory));
    }
    assert!(board.say(60, 60, Message::End).is_empty());
    assert_eq!(board.node.session(), Session::Idle);
    assert_eq!(board.node.orders().machines, [MachineOrder::Off; 4]);
}

/// In real time a supervisor that is to get no tick keeps its word, although the timer goes on and
/// calls are answered; a supervisor here that got only the other ticks says the same.
#[test]
fn a_tick_that_is_missed_in_real_time_is_missed() {
    let mut board = Board::running(Mode::RealTime);
    let counters = Default::default();
    let mut random = Random::new(8);
    let mut own = Supervisor::new();
    let mut output = *board.node.output();
    let mut missed = 0;
    for n in 3..2000u16 {
        let seen = inputs(&mut random);
        let called = !(n / 7).is_multiple_of(3);
        let call = Call { inputs: seen, called, ..Call::default() };
        assert!(board.say(n, u32::from(n), Message::Call(call)).is_empty());
        assert!(board.node.timer(&counters).is_some(), "it is answered all the same");
        if called {
            output = own.tick(&TABLE, &seen);
        } else {
            missed += 1;
        }
        assert_eq!(*board.node.output(), output, "tick {n}");
    }
    assert!(missed > 500, "{missed}");
}

/// What is dropped and counted in a run: calls that are not new, and a board's own words. Only in
/// lockstep, and only with its own tick, the last call is answered again, by the same bytes.
#[test]
fn what_is_not_new_is_dropped_and_counted() {
    let call = Message::Call(Call { called: true, ..Call::default() });
    let own = [
        Message::Ready,
        Message::Refused(Differs::Tick),
        Message::Answer(Answer { bad_frames: 1, ..Answer::default() }),
    ];
    for mode in [Mode::Lockstep, Mode::RealTime] {
        let mut board = Board::running(mode);
        let counters = Default::default();
        let mut said = board.say(9, 50, call);
        let first = board.node.timer(&counters);
        assert_eq!(
            (said.len(), first.is_some()),
            (usize::from(mode == Mode::Lockstep), mode == Mode::RealTime)
        );
        for (sequence, tick) in [(9, 51), (8, 50), (8, 51), (9, 50), (0x8009, 50)] {
            let again = board.say(sequence, tick, call);
            let same = mode == Mode::Lockstep && (sequence, tick) == (9, 50);
            assert_eq!(again, if same { said.clone() } else { vec![] }, "{sequence} {tick}");
        }
        for message in own {
            assert!(board.say(10, 51, message).is_empty(), "{message:?}");
        }
        said = board.say(0x8008, 51, call);
        if let Some(wire) = board.node.timer(&counters) {
            said.extend(wire.bytes().iter().filter_map(|b| board.back.byte(*b)));
        }
        let (stamp, answer) = answer_of(&said).expect("half of all numbers are new");
        assert_eq!((stamp.sequence, answer.stale_frames), (0x8008, 8), "{mode:?}");
    }
    // Nor does a beginning without a hello, or a call without a run, pass uncounted.
    let mut board = Board::new();
    let begin = Message::Begin(Begin { mode: Mode::Lockstep, lost_ticks: 20, trace: None });
    assert!(board.say(1, 0, begin).is_empty());
    assert!(board.say(2, 0, call).is_empty());
    board.say(3, 0, host_hello());
    assert_eq!(board.say(4, 0, call).len(), 1, "a hello");
    board.say(5, 0, begin);
    let (_, answer) = answer_of(&board.say(6, 0, call)).expect("an answer");
    assert_eq!(answer.stale_frames, 3);
}

/// While a run goes on the pins do what was answered; when it is lost the locks stay and the torque goes,
/// from the first tick of which the host said that it is too late.
#[test]
fn pins_follow_the_answer_until_it_is_lost() {
    let mut board = Board::running(Mode::Lockstep);
    let counters = Default::default();
    assert!(Board::new().node.timer(&counters).is_none(), "no run, no tick");
    let mut seen = Inputs { demand_nm: 100.0, request: Some(1), ..Inputs::default() };
    seen.speeds.iter_mut().for_each(|s| s.valid = true);
    seen.torques.iter_mut().for_each(|t| t.valid = true);
    seen.reports = [LockReport::Open; 8];
    let (mut torque, mut closing) = (false, false);
    for n in 3..1500u16 {
        let call = Message::Call(Call { inputs: seen, called: true, ..Call::default() });
        let said = board.say(n, u32::from(n), call);
        let (_, answer) = answer_of(&said).expect("an answer");
        assert_eq!(board.node.orders(), answer.orders);
        assert_eq!(*board.node.output(), answer.output());
        let mut safe = answer.orders;
        (safe.machines, safe.engine_run) = ([MachineOrder::Off; 4], false);
        torque |= safe.machines != answer.orders.machines;
        closing |= safe.locks.contains(&LockOrder::Close);
        for (lock, order) in safe.locks.iter().enumerate() {
            let closed = *order == LockOrder::Close;
            seen.reports[lock] = if closed { LockReport::Closed } else { LockReport::Open };
        }
        if n % 100 == 0 {
            for tick in 1..=20 {
                let _ = board.node.timer(&counters);
                let now = if tick < 20 { answer.orders } else { safe };
                assert_eq!((board.node.orders(), board.node.is_lost()), (now, tick >= 20));
            }
        }
    }
    assert!(torque && closing, "{torque} {closing}");
}

/// The memory in an answer can be looked at: it is that of the supervisor, as a search keeps it.
#[test]
fn the_memory_of_an_answer_comes_back() {
    let mut random = Random::new(3);
    let mut own = Supervisor::new();
    for _ in 0..300 {
        let output = own.tick(&TABLE, &inputs(&mut random));
        let answer = Answer::of(&output, &own, &TABLE);
        assert_eq!(answer.memory.kernel(), own.kernel().canonical(&TABLE));
    }
}
