//! What goes into a tick of the plant: orders, commands, the road and the faults.

use supervisor::bits::{MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};
use supervisor::io::LockOrder;

/// Everything that acts on the plant during one tick.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct PlantInputs {
    /// Valve command of each lock, in file order (what is asked, not what the lock does).
    pub locks: [LockOrder; MAX_LOCKS],
    /// Torque command of each machine on its shaft in Nm, in file order, the engine included. The
    /// machine's own limits are applied by the plant; a value that is not finite counts as 0.
    pub torque_nm: [f64; MAX_MACHINES],
    /// Electric machines whose inverter is switched off, bit `i` is machine `i`: no torque,
    /// whatever its controller believes; what is there dies away with the machine's lag.
    pub off: u8,
    /// Whether the engine should run. It starts by its own starter or by being turned.
    pub engine_run: bool,
    /// Service brake torque at the output shaft in Nm, 0 or more (negative counts as 0).
    pub brake_nm: f64,
    /// Slope of the road: rise per horizontal distance, positive uphill when driving forward.
    pub grade: f64,
    /// The faults that are present now.
    pub faults: Faults,
    /// Where to look for them.
    pub suspects: Suspects,
}

/// Parts that may have a fault, a bit each; every other one is taken for sound without a look. All
/// are suspects unless whoever sets the faults knows better.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Suspects {
    /// Locks; all of them while the supply is lost.
    pub locks: u8,
    /// Speed sensors.
    pub sensors: u8,
    /// Machines.
    pub machines: u8,
}

impl Suspects {
    /// Nothing has a fault.
    pub const NONE: Suspects = Suspects { locks: 0, sensors: 0, machines: 0 };

    /// Exactly the parts that have a fault.
    pub fn of(faults: &Faults) -> Suspects {
        fn unsound<T: Default + PartialEq>(list: &[T]) -> u8 {
            let sound = T::default();
            let bit = |(i, part): (usize, &T)| u8::from(*part != sound) << i;
            list.iter().enumerate().map(bit).fold(0, |set, bit| set | bit)
        }
        Suspects {
            locks: if faults.supply_lost { u8::MAX } else { unsound(&faults.locks) },
            sensors: unsound(&faults.sensors),
            machines: unsound(&faults.machines),
        }
    }
}

impl Default for Suspects {
    fn default() -> Suspects {
        Suspects { locks: u8::MAX, sensors: u8::MAX, machines: u8::MAX }
    }
}

/// All faults that are present during a tick. The default is a sound plant.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Faults {
    /// Faults of each lock's actuator and switch.
    pub locks: [LockFaults; MAX_LOCKS],
    /// Faults of each speed sensor.
    pub sensors: [SensorFaults; MAX_SENSORS],
    /// Faults of each machine, in file order (the engine has its own as well).
    pub machines: [MachineFaults; MAX_MACHINES],
    /// Fault of the engine.
    pub engine: EngineFault,
    /// Supply lost: every lock goes to its state without supply, whatever is ordered.
    pub supply_lost: bool,
    /// Grip lost: the share of the vehicle's weight, 0 or more, that the tyres carry at most as
    /// drive or brake force. Needs a model [with loose wheels](super::PlantModel::with_loose_wheels).
    pub grip: Option<f64>,
}

/// Fault of a lock's actuator.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ActuatorFault {
    /// Sound.
    #[default]
    None,
    /// Fill and pressure never rise; what is there may still be released.
    StuckOpen,
    /// Fill and pressure never fall; an open lock may still be closed.
    StuckClosed,
    /// Releases although it is not asked to (a dog comes out even under load).
    OpensByItself,
    /// Applies although it is not asked to.
    ClosesByItself,
}

/// Fault of a lock's position switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum SwitchFault {
    /// Sound.
    #[default]
    None,
    /// Always says open.
    StuckOpen,
    /// Always says closed.
    StuckClosed,
    /// Says nothing.
    Missing,
    /// Says open or closed by chance, anew in every step.
    Chatter,
}

/// All that may be wrong with one lock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LockFaults {
    /// The actuator.
    pub actuator: ActuatorFault,
    /// The switch.
    pub switch: SwitchFault,
    /// Filling, ramping or inserting takes this many times as long; 1 or more.
    pub slow_close: f64,
    /// Releasing takes this many times as long; 1 or more.
    pub slow_release: f64,
    /// Drag torque added when open, Nm, 0 or more.
    pub extra_drag_nm: f64,
}

impl LockFaults {
    /// Nothing is wrong.
    pub(super) const SOUND: LockFaults = LockFaults {
        actuator: ActuatorFault::None,
        switch: SwitchFault::None,
        slow_close: 1.0,
        slow_release: 1.0,
        extra_drag_nm: 0.0,
    };
}

impl Default for LockFaults {
    fn default() -> LockFaults {
        LockFaults::SOUND
    }
}

/// All that may be wrong with one speed sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorFaults {
    /// Added to the speed, rpm.
    pub bias_rpm: f64,
    /// Factor on the speed; 1 is sound, -1 is a flipped sign.
    pub scale: f64,
    /// Uniform noise added to every sample, from minus this to this, rpm, 0 or more.
    pub noise_rpm: f64,
    /// Reads in steps of this many rpm when they are coarser than its own; 0 is sound.
    pub coarse_rpm: f64,
    /// Added to its latency, ms, 0 or more; the whole is cut to the history that the plant keeps.
    pub late_ms: f64,
    /// Holds each value for a time by chance, up to this many ms, 0 or more.
    pub hold_ms: f64,
    /// No valid value.
    pub dropout: bool,
    /// Repeats its last value and calls it valid.
    pub stuck: bool,
}

impl Default for SensorFaults {
    fn default() -> SensorFaults {
        SensorFaults {
            bias_rpm: 0.0,
            scale: 1.0,
            noise_rpm: 0.0,
            coarse_rpm: 0.0,
            late_ms: 0.0,
            hold_ms: 0.0,
            dropout: false,
            stuck: false,
        }
    }
}

/// Fault of one machine's torque.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum TorqueFault {
    /// Sound.
    #[default]
    None,
    /// No torque, whatever is asked; its controller reports none.
    Lost,
    /// Torque of the wrong sign; its controller reports what it believes, the asked sign.
    WrongSign,
}

/// All that may be wrong with one machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MachineFaults {
    /// The torque itself.
    pub torque: TorqueFault,
    /// Factor on the torque that it gives; its controller believes in 1.
    pub scale: f64,
    /// Added to the torque that it gives, Nm; its controller believes in 0.
    pub offset_nm: f64,
    /// The lag is this many times as long; 1 or more.
    pub slow: f64,
    /// The report of the torque is lost.
    pub report_lost: bool,
}

impl MachineFaults {
    /// Nothing is wrong.
    pub(super) const SOUND: MachineFaults = MachineFaults {
        torque: TorqueFault::None,
        scale: 1.0,
        offset_nm: 0.0,
        slow: 1.0,
        report_lost: false,
    };
}

impl Default for MachineFaults {
    fn default() -> MachineFaults {
        MachineFaults::SOUND
    }
}

/// Fault of the engine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum EngineFault {
    /// Sound.
    #[default]
    None,
    /// It stops firing at once and does not fire while the fault lasts.
    Stall,
    /// It cannot be started; if it runs already, it goes on.
    NoStart,
    /// While it runs it gives its full-load torque, whatever is asked.
    Overrun,
}
