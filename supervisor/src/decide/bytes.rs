//! The decision's memory, without the beliefs about locks, as bytes. See
//! [`crate::kernel::KernelBytes`].

use super::State;
use crate::bits::Bits;
use crate::choose::Route;
use crate::request::Request;
use crate::status::Phase;

const NONE: u8 = u8::MAX;

impl State {
    /// Everything but the locks' part and what is stated; and whether the first tick is to come.
    pub(crate) fn rest_to_bytes(self, asleep: bool) -> [u8; 32] {
        let (phase, step, ready) = self.phase.numbers();
        let flags = [asleep, self.given_up, self.engine_run, self.pushes];
        let flags = (0u8..).zip(flags).fold(Bits::EMPTY, |bits, (i, flag)| bits.with(i, flag));
        let (target, way) = self.route.map_or((NONE, 0), |route| (route.target, route.way));
        let (accepted, candidate, request_ticks) = self.request.parts();
        let some = |number: Option<u8>| number.unwrap_or(NONE);
        let [step_low, step_high] = step.to_le_bytes();
        let [ready_low, ready_high] = ready.to_le_bytes();
        let [ticks_low, ticks_high] = self.ticks.to_le_bytes();
        let [spent_low, spent_high] = self.spent.to_le_bytes();
        let [doubt_low, doubt_high] = self.doubt.to_le_bytes();
        let [stay_low, stay_high] = self.stay.to_le_bytes();
        let [overlap_low, overlap_high] = self.overlap.to_le_bytes();
        let [blocked_low, blocked_high] = self.blocked.to_le_bytes();
        let [wait_low, wait_high] = self.engine_wait.to_le_bytes();
        let [request_low, request_high] = request_ticks.to_le_bytes();
        // One array and no loop: a search does this for every tick that it tries.
        [
            phase,
            flags.0,
            target,
            way,
            self.tries,
            some(self.stood),
            some(accepted),
            some(candidate),
            self.prefill.0,
            step_low,
            step_high,
            ready_low,
            ready_high,
            ticks_low,
            ticks_high,
            spent_low,
            spent_high,
            doubt_low,
            doubt_high,
            stay_low,
            stay_high,
            overlap_low,
            overlap_high,
            blocked_low,
            blocked_high,
            wait_low,
            wait_high,
            request_low,
            request_high,
            self.claims,
            self.found_stuck.0,
            0,
        ]
    }

    /// The same back; the second is whether the first tick is to come.
    pub(crate) fn rest_from_bytes(bytes: [u8; 32]) -> (State, bool) {
        let [phase, flags, target, way, tries, stood, accepted, candidate, prefill, counters @ ..] =
            bytes;
        let mut words = [0; 10];
        for (slot, pair) in words.iter_mut().zip(counters.as_chunks().0) {
            *slot = u16::from_le_bytes(*pair);
        }
        let [step, ready, ticks, spent, doubt, stay, overlap, blocked, engine_wait, asked_for] =
            words;
        let last = |n: usize| counters.get(n).copied().unwrap_or(0);
        let (claims, found_stuck) = (last(20), Bits(last(21)));
        let some = |byte: u8| (byte != NONE).then_some(byte);
        let flags = Bits(flags);
        let state = State {
            request: Request::of_parts(some(accepted), some(candidate), asked_for),
            phase: match phase {
                0 => Phase::Wake,
                1 => Phase::Rest,
                2 => Phase::Prepare { step, ready },
                3 => Phase::Closing { step },
                4 => Phase::Opening { step },
                _ => Phase::Settle,
            },
            route: some(target).map(|target| Route { target, way }),
            ticks,
            spent,
            doubt,
            tries,
            stay,
            overlap,
            blocked,
            engine_wait,
            stood: some(stood),
            given_up: flags.has(1),
            engine_run: flags.has(2),
            pushes: flags.has(3),
            found_stuck,
            claims,
            prefill: Bits(prefill),
            ..State::default()
        };
        (state, flags.has(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::status::Refusal;

    /// What is stored of the decision comes back, each part by itself; what is stated does not.
    #[test]
    fn every_part_but_the_statement_is_stored() {
        let parts: [fn(&mut State); 14] = [
            |s| s.phase = Phase::Prepare { step: 0x0102, ready: 0x0304 },
            |s| s.route = Some(Route { target: 5, way: 2 }),
            |s| (s.ticks, s.spent) = (0x0506, 0x0708),
            |s| (s.doubt, s.stay) = (0x090a, 0x0b0c),
            |s| (s.overlap, s.blocked) = (0x0d0e, 0x0f10),
            |s| s.engine_wait = 0x1112,
            |s| s.tries = 3,
            |s| s.stood = Some(4),
            |s| s.given_up = true,
            |s| s.found_stuck = Bits(0b101),
            |s| s.claims = 2,
            |s| s.engine_run = true,
            |s| s.pushes = true,
            |s| s.prefill = Bits::one(0),
        ];
        for asleep in [false, true] {
            for (n, part) in parts.iter().enumerate() {
                let mut state = State::default();
                part(&mut state);
                state.refusal = Some(Refusal::NotCalm);
                let back = State::rest_from_bytes(state.rest_to_bytes(asleep));
                assert_eq!(back, (State { refusal: None, ..state }, asleep), "part {n}");
            }
        }
    }
}
