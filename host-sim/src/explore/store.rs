//! All states that were reached: full states compared, each with the state it came from.

use std::hash::{BuildHasher, Hasher};

use super::model::Node;

/// A multiply-and-rotate hash; states are compared in full, so its quality only costs time.
#[derive(Clone, Copy, Default)]
struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }

    fn write(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..chunk.len()].copy_from_slice(chunk);
            self.write_u64(u64::from_le_bytes(word));
        }
    }

    fn write_u8(&mut self, x: u8) {
        self.write_u64(u64::from(x));
    }

    fn write_u16(&mut self, x: u16) {
        self.write_u64(u64::from(x));
    }

    fn write_usize(&mut self, x: usize) {
        self.write_u64(x as u64);
    }

    fn write_u64(&mut self, x: u64) {
        self.0 = (self.0.rotate_left(23) ^ x).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }
}

#[derive(Clone, Copy, Default)]
struct BuildMix;

impl BuildHasher for BuildMix {
    type Hasher = Mix;

    fn build_hasher(&self) -> Mix {
        Mix::default()
    }
}

/// Hash of a state.
pub fn hash_of(node: &Node) -> u64 {
    BuildMix.hash_one(node)
}

const EMPTY: u32 = u32::MAX;

/// The states, numbered in the order in which they were reached.
pub struct Store {
    nodes: Vec<Node>,
    parents: Vec<u32>,
    slots: Vec<u32>,
}

impl Default for Store {
    fn default() -> Store {
        Store { nodes: Vec::new(), parents: Vec::new(), slots: vec![EMPTY; 1 << 16] }
    }
}

impl Store {
    /// How many states there are.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// A state by its number.
    pub fn node(&self, number: u32) -> &Node {
        &self.nodes[number as usize]
    }

    /// The state that it was first reached from; itself for a start.
    pub fn parent(&self, number: u32) -> u32 {
        self.parents[number as usize]
    }

    /// Memory that the states take, bytes.
    pub fn bytes(&self) -> usize {
        self.nodes.capacity() * size_of::<Node>()
            + (self.parents.capacity() + self.slots.capacity()) * size_of::<u32>()
    }

    /// Number of a state, if it has been reached.
    pub fn find(&self, node: &Node, hash: u64) -> Option<u32> {
        let mask = self.slots.len() - 1;
        let mut at = hash as usize & mask;
        while self.slots[at] != EMPTY {
            if self.nodes[self.slots[at] as usize] == *node {
                return Some(self.slots[at]);
            }
            at = (at + 1) & mask;
        }
        None
    }

    /// Take a state in; `None` when it was there already. A start has no parent.
    pub fn insert(&mut self, node: &Node, hash: u64, parent: Option<u32>) -> Option<u32> {
        if self.find(node, hash).is_some() {
            return None;
        }
        if self.nodes.len() * 3 >= self.slots.len() * 2 {
            self.grow();
        }
        let number = self.nodes.len() as u32;
        self.nodes.push(*node);
        self.parents.push(parent.unwrap_or(number));
        self.place(number, hash);
        Some(number)
    }

    fn place(&mut self, number: u32, hash: u64) {
        let mask = self.slots.len() - 1;
        let mut at = hash as usize & mask;
        while self.slots[at] != EMPTY {
            at = (at + 1) & mask;
        }
        self.slots[at] = number;
    }

    fn grow(&mut self) {
        self.slots = vec![EMPTY; self.slots.len() * 2];
        for number in 0..self.nodes.len() {
            let hash = hash_of(&self.nodes[number]);
            self.place(number as u32, hash);
        }
    }

    /// The way to a state, from a start.
    pub fn path_to(&self, number: u32) -> Vec<u32> {
        let mut path = vec![number];
        let mut at = number;
        while self.parent(at) != at {
            at = self.parent(at);
            path.push(at);
        }
        path.reverse();
        path
    }
}
