//! States as words: what concerns one lock has few different values, and so has the rest. Each
//! value gets a code when it is first met, and a state is its codes side by side: exact, and
//! small enough for hundreds of millions.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hash, Hasher};
use std::sync::Mutex;

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::kernel::{Kernel, KernelBytes};

use super::environment::{Actual, Environment, LockFault};
use super::model::Node;

/// What concerns one lock: belief and watch, order and truth.
pub type LockPart = (u64, u16);
/// Everything else, with the number of faults that there have been.
pub type RestPart = ([u64; 4], u8);

/// The parts of a state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Parts {
    /// By lock.
    pub locks: [LockPart; MAX_LOCKS],
    /// The rest.
    pub rest: RestPart,
}

/// The kernel's share of a lock's part, and the rest of the kernel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct KernelParts {
    /// By lock.
    pub locks: [u64; MAX_LOCKS],
    /// The rest.
    pub rest: [u64; 4],
}

/// A kernel's parts, as numbers.
pub fn kernel_parts(kernel: &Kernel) -> KernelParts {
    let bytes = kernel.to_bytes();
    let mut rest = [0; 4];
    for (word, part) in rest.iter_mut().zip(bytes.rest.chunks_exact(8)) {
        *word = u64::from_le_bytes(part.try_into().expect("eight bytes"));
    }
    KernelParts { locks: bytes.locks.map(u64::from_le_bytes), rest }
}

/// Order and truth of one lock: 13 bits.
pub fn world_part(world: &Environment, closing: Bits, filling: Bits, lock: usize) -> u16 {
    let order = u16::from(closing.has(lock as u8)) | u16::from(filling.has(lock as u8)) << 1;
    debug_assert!(world.opening[lock] < 64, "releases are shrunk");
    order
        | (world.actual[lock] as u16) << 2
        | (world.fault[lock] as u16) << 4
        | u16::from(world.opening[lock]) << 7
}

/// A state in parts.
pub fn parts_of(node: &Node, locks: usize) -> Parts {
    let kernel = kernel_parts(&node.kernel);
    let mut parts = Parts { rest: (kernel.rest, node.world.faults_code()), ..Parts::default() };
    for lock in 0..locks {
        let world = world_part(&node.world, node.closing, node.filling, lock);
        parts.locks[lock] = (kernel.locks[lock], world);
    }
    parts
}

impl KernelParts {
    /// The kernel that has these parts.
    pub fn kernel(&self) -> Kernel {
        let mut bytes = KernelBytes::default();
        for (slot, word) in bytes.rest.chunks_exact_mut(8).zip(self.rest) {
            slot.copy_from_slice(&word.to_le_bytes());
        }
        bytes.locks = self.locks.map(u64::to_le_bytes);
        Kernel::from_bytes(&bytes)
    }
}

/// The state that has these parts.
pub fn node_of(parts: &Parts, locks: usize) -> Node {
    let mut kernel = KernelParts { rest: parts.rest.0, ..KernelParts::default() };
    let mut node = Node::default();
    for lock in 0..locks {
        let (of_kernel, world) = parts.locks[lock];
        kernel.locks[lock] = of_kernel;
        node.closing = node.closing.with(lock as u8, world & 1 != 0);
        node.filling = node.filling.with(lock as u8, world & 2 != 0);
        node.world.actual[lock] = Actual::ALL[usize::from(world >> 2 & 3)];
        node.world.fault[lock] = LockFault::ALL[usize::from(world >> 4 & 7)];
        node.world.opening[lock] = (world >> 7) as u8;
    }
    node.world.set_faults(parts.rest.1);
    node.kernel = kernel.kernel();
    node
}

/// A multiply-and-rotate hash: keys are compared in full, so its quality only costs time.
#[derive(Clone, Copy, Default)]
pub struct Mix(u64);

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

    fn write_u64(&mut self, x: u64) {
        self.0 = (self.0.rotate_left(23) ^ x).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    }
}

/// A map with that hash.
pub type MixMap<K, V> = HashMap<K, V, BuildHasherDefault<Mix>>;

/// Values in the order in which they were met; a value's place is its code.
#[derive(Clone, Debug)]
struct List<T> {
    values: Vec<T>,
    codes: MixMap<T, u32>,
}

impl<T: Copy + Eq + Hash> List<T> {
    fn new() -> List<T> {
        List { values: Vec::new(), codes: MixMap::default() }
    }

    fn code(&mut self, value: T) -> u32 {
        if let Some(&code) = self.codes.get(&value) {
            return code;
        }
        let code = self.values.len() as u32;
        self.values.push(value);
        self.codes.insert(value, code);
        code
    }
}

/// All codes, shared by the threads of a search.
#[derive(Debug)]
pub struct Codes {
    locks: Mutex<List<LockPart>>,
    rests: Mutex<List<RestPart>>,
}

impl Default for Codes {
    fn default() -> Codes {
        Codes { locks: Mutex::new(List::new()), rests: Mutex::new(List::new()) }
    }
}

impl Codes {
    /// With these values, as they were kept.
    pub fn of(locks: Vec<LockPart>, rests: Vec<RestPart>) -> Codes {
        let codes = Codes::default();
        let mut known = codes.view();
        locks.into_iter().for_each(|part| {
            known.lock_code(part);
        });
        rests.into_iter().for_each(|part| {
            known.rest_code(part);
        });
        codes
    }

    /// All values in the order of their codes.
    pub fn values(&self) -> (Vec<LockPart>, Vec<RestPart>) {
        (guard(&self.locks).values.clone(), guard(&self.rests).values.clone())
    }

    /// How many values of one lock, and of the rest, there are.
    pub fn counts(&self) -> (usize, usize) {
        (guard(&self.locks).values.len(), guard(&self.rests).values.len())
    }

    /// One thread's view.
    pub fn view(&self) -> CodesView<'_> {
        CodesView {
            codes: self,
            locks: guard(&self.locks).clone(),
            rests: guard(&self.rests).clone(),
        }
    }
}

/// A poisoned lock means that a thread panicked, and that is seen elsewhere.
fn guard<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|poisoned| poisoned.into_inner())
}

/// One thread's view of the codes: asks the others only for what it has not met.
#[derive(Clone, Debug)]
pub struct CodesView<'a> {
    codes: &'a Codes,
    locks: List<LockPart>,
    rests: List<RestPart>,
}

impl CodesView<'_> {
    /// Code of what concerns a lock.
    pub fn lock_code(&mut self, part: LockPart) -> u32 {
        match self.locks.codes.get(&part) {
            Some(&code) => code,
            None => ask(&self.codes.locks, &mut self.locks, part),
        }
    }

    /// Code of the rest.
    pub fn rest_code(&mut self, part: RestPart) -> u32 {
        match self.rests.codes.get(&part) {
            Some(&code) => code,
            None => ask(&self.codes.rests, &mut self.rests, part),
        }
    }

    /// What has this code. A code comes from a word, and a word from this view or another.
    pub fn lock_part(&mut self, code: u32) -> LockPart {
        value(&self.codes.locks, &mut self.locks, code)
    }

    /// What has this code.
    pub fn rest_part(&mut self, code: u32) -> RestPart {
        value(&self.codes.rests, &mut self.rests, code)
    }
}

fn ask<T: Copy + Eq + Hash>(shared: &Mutex<List<T>>, own: &mut List<T>, part: T) -> u32 {
    let mut all = guard(shared);
    let code = all.code(part);
    catch_up(&all, own);
    code
}

fn value<T: Copy + Eq + Hash>(shared: &Mutex<List<T>>, own: &mut List<T>, code: u32) -> T {
    if code as usize >= own.values.len() {
        catch_up(&guard(shared), own);
    }
    own.values[code as usize]
}

fn catch_up<T: Copy + Eq + Hash>(all: &List<T>, own: &mut List<T>) {
    for at in own.values.len()..all.values.len() {
        own.code(all.values[at]);
    }
}
