//! Requests: a request must stand for a while before it is taken up.

use crate::table::Table;

/// The debounced request.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct Request {
    accepted: Option<u8>,
    candidate: Option<u8>,
    ticks: u16,
}

impl Request {
    /// Accepted, candidate, ticks that the candidate has stood.
    pub(crate) const fn parts(&self) -> (Option<u8>, Option<u8>, u16) {
        (self.accepted, self.candidate, self.ticks)
    }

    pub(crate) const fn of_parts(
        accepted: Option<u8>,
        candidate: Option<u8>,
        ticks: u16,
    ) -> Request {
        Request { accepted, candidate, ticks }
    }

    /// The request as accepted.
    pub const fn accepted(&self) -> Option<u8> {
        self.accepted
    }

    /// See [`crate::kernel::Kernel::canonical`].
    pub(crate) fn make_canonical(&mut self, table: &Table) {
        let unread = self.candidate == self.accepted;
        self.ticks = if unread { 0 } else { self.ticks.min(table.timing.request_dwell) };
    }

    /// Take in what is asked this tick; true when the accepted request changed.
    ///
    /// An arrangement that the table does not have counts as none.
    pub(crate) fn update(&mut self, table: &Table, asked: Option<u8>) -> bool {
        let asked = asked.filter(|&a| usize::from(a) < table.arrangements.len());
        if asked != self.candidate {
            self.candidate = asked;
            self.ticks = 0;
        }
        if self.candidate == self.accepted {
            return false;
        }
        self.ticks = self.ticks.saturating_add(1);
        if self.ticks < table.timing.request_dwell {
            return false;
        }
        self.accepted = self.candidate;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::Owned;

    /// A request that changes sooner than the dwell is never taken up; one that stands is,
    /// after exactly the dwell; an arrangement that does not exist counts as none.
    #[test]
    fn dwell_chatter_and_range() {
        let owned = Owned::new();
        let table = owned.table();
        let dwell = owned.timing.request_dwell;
        let mut request = Request::default();
        for n in 0..1000u16 {
            assert!(!request.update(&table, Some((n / (dwell - 1) % 2) as u8)));
        }
        let mut request = Request::default();
        for n in 1..=dwell {
            assert_eq!(request.update(&table, Some(1)), n == dwell);
        }
        assert_eq!(request.accepted(), Some(1));
        // A glitch back and forth starts the dwell anew.
        for n in 0..1000u16 {
            let asked = if n % dwell == 0 { Some(1) } else { Some(0) };
            assert!(!request.update(&table, asked));
        }
        for none in [2, 99] {
            assert!((0..=dwell).any(|_| request.update(&table, Some(none))));
            assert_eq!(request.accepted(), None, "{none}");
            assert!((0..=dwell).any(|_| request.update(&table, Some(1))));
            assert_eq!(request.accepted(), Some(1));
        }
    }
}
