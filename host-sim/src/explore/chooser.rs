//! Trying every choice: a tick asks, the chooser answers, and the tick is run again until every
//! combination of answers has been given.
//!
//! Only what is asked is tried, so what a tick does not look at costs nothing.

/// Most choices that one tick may ask for.
const MOST: usize = 64;

/// One run through the choices, and the way to the next.
#[derive(Clone, Debug)]
pub struct Chooser {
    taken: [u8; MOST],
    of: [u8; MOST],
    asked: usize,
    fixed: usize,
}

impl Default for Chooser {
    fn default() -> Chooser {
        Chooser { taken: [0; MOST], of: [1; MOST], asked: 0, fixed: 0 }
    }
}

impl Chooser {
    /// Start over with the first answer to every question.
    pub fn restart(&mut self) {
        self.asked = 0;
        self.fixed = 0;
    }

    /// Begin a run.
    pub fn begin(&mut self) {
        self.asked = 0;
    }

    /// One of `0..count`.
    pub fn choose(&mut self, count: u8) -> u8 {
        let at = self.asked;
        debug_assert!(at < MOST && count > 0);
        self.asked += 1;
        if at >= self.fixed {
            self.taken[at] = 0;
            self.of[at] = count;
            self.fixed = at + 1;
        }
        self.taken[at]
    }

    /// Either.
    pub fn either(&mut self) -> bool {
        self.choose(2) == 1
    }

    /// Go to the next combination; false when all have been given.
    pub fn advance(&mut self) -> bool {
        let mut at = self.asked;
        while at > 0 {
            at -= 1;
            if self.taken[at] + 1 < self.of[at] {
                self.taken[at] += 1;
                self.fixed = at + 1;
                return true;
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Questions that depend on earlier answers are each asked with every answer, once.
    #[test]
    fn every_combination_comes_once() {
        let mut seen = Vec::new();
        let mut chooser = Chooser::default();
        loop {
            chooser.begin();
            let first = chooser.choose(3);
            let second = if first == 1 { Some(chooser.choose(2)) } else { None };
            let third = chooser.either();
            seen.push((first, second, third));
            if !chooser.advance() {
                break;
            }
        }
        let mut sorted = seen.clone();
        sorted.sort();
        sorted.dedup();
        assert_eq!(sorted.len(), seen.len(), "no combination twice");
        assert_eq!(seen.len(), 2 + 4 + 2);
    }
}
