//! The changing half of the plant: plain data that is copied, compared and digested.

use super::energy::EnergyBook;
use super::model::{PlantModel, ShaftValues};
use super::random::Random;
use super::{MAX_SHAFTS, SENSOR_HISTORY};
use supervisor::bits::{MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};
use supervisor::io::{LockReport, Speed, Torque};

/// What a lock really does. Neither what is commanded nor what its switch reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum LockActual {
    /// Out; it carries no more than its drag.
    #[default]
    Open,
    /// Friction: on its way to the kiss point or waiting there. Dog: on its way in or out, or
    /// standing tooth on tooth without ratcheting.
    Filling,
    /// Friction: carries torque while it slips. Dog: ratchets.
    Slipping,
    /// Friction: sticks and carries torque. Dog: in.
    Locked,
}

/// Whether the engine stands, is being started, or runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum EngineActual {
    /// Does not fire; its shaft may stand or be turned.
    #[default]
    Stopped,
    /// Its own starter turns it.
    Cranking,
    /// Fires.
    Running,
    /// It stalled or a start was given up; while it is asked to run, its controller tries again
    /// after a second.
    StartFailed,
}

/// One lock's actuator, contact and record.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct LockState {
    /// Way to the kiss point (friction) or of the insertion (dog), 0 to 1.
    pub fill: f64,
    /// Share of the capacity that is applied (friction), 0 to 1; a dog that is in has 1.
    pub pressure: f64,
    /// Dog: whether it is in.
    pub engaged: bool,
    /// What it really does.
    pub actual: LockActual,
    /// Whether its two sides turn as one at present, held by friction or by the dog.
    pub stuck: bool,
    /// Torque on the first side in Nm (mean over the last step); the second side gets the opposite.
    pub torque_nm: f64,
    /// Dog: relative angle of the two sides within one pitch, rad.
    pub angle_rad: f64,
    /// Slip in rad/s when the present (or last) closing began to carry torque.
    pub slip_at_touch_radps: f64,
    /// Friction work of the present (or last) closing, J; a dog's impact counts as well.
    pub closing_j: f64,
    /// All heat since the start, J: friction, drag and impacts.
    pub heat_j: f64,
    /// Rise of the plates over the oil, K (friction).
    pub rise_k: f64,
    /// How often it began to carry torque.
    pub closings: u32,
    /// Dog: how often it met the teeth outside its window.
    pub rejections: u32,
    /// Largest torque it carried, Nm, since the start.
    pub peak_torque_nm: f64,
    /// Dog: whether it carries more than its capacity now.
    pub overload: bool,
    pub(super) at_teeth: bool,
    pub(super) switch_closed: bool,
    pub(super) switch_steps: u32,
}

/// One machine.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct MachineState {
    /// Torque on its shaft in Nm (the engine's net torque, its drag and starter included).
    pub torque_nm: f64,
    /// Electric power it draws in W, losses included; negative when it generates. Zero for the engine.
    pub electric_w: f64,
    /// Its loss in W. Zero for the engine.
    pub loss_w: f64,
    /// Torque without the drag contact: what the energy book counts as the machine's work.
    pub(super) smooth_nm: f64,
    pub(super) reported: Torque,
    /// What the report has too much, Nm (the engine; a fault).
    pub(super) report_error_nm: f64,
    pub(super) lagged_nm: f64,
}

/// The engine's own state.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct EngineState {
    /// Standing, starting or running.
    pub actual: EngineActual,
    /// How often it stalled.
    pub stalls: u32,
    pub(super) steps: u32,
    pub(super) integral_nm: f64,
    pub(super) stuck: bool,
}

/// Battery.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct BatteryState {
    /// State of charge, 1 is full. Not clipped: outside 0 to 1 the case is beyond the model.
    pub charge: f64,
    /// Power at the terminals in W, positive when it is discharged.
    pub terminal_w: f64,
    /// Current in A, positive when it is discharged.
    pub current_a: f64,
    /// Whether the power is over the stated limit now (the plant does not derate machines).
    pub over_limit: bool,
}

/// One speed sensor: its constant error.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct SensorState {
    pub(super) bias_radps: f64,
    /// Steps for which a jittering sensor still holds its value.
    pub(super) held_steps: u32,
}

/// What separates the chance of faults from that of the sound plant.
const FAULT_STREAM: u64 = 0x6661_756c_7473_2121;

/// Everything that changes in a plant. `Copy`: a saved state is a copy of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlantState {
    pub(super) steps: u64,
    pub(super) speed: ShaftValues,
    pub(super) accel: ShaftValues,
    pub(super) angle: ShaftValues,
    pub(super) lock: [LockState; MAX_LOCKS],
    /// Locks that began to carry torque in the last step, a bit each.
    pub(super) touched: u8,
    pub(super) machine: [MachineState; MAX_MACHINES],
    pub(super) engine: EngineState,
    pub(super) battery: BatteryState,
    pub(super) sensor: [SensorState; MAX_SENSORS],
    /// What the sensors show.
    pub(super) sensed: [Speed; MAX_SENSORS],
    /// The sensors' samples of the last steps, those on their way included; the last at `head`.
    pub(super) history: [[f32; MAX_SENSORS]; SENSOR_HISTORY],
    pub(super) head: usize,
    pub(super) report: [LockReport; MAX_LOCKS],
    pub(super) road_stuck: bool,
    /// Torque that goes from the output shaft into the final drive, Nm.
    pub(super) output_torque_nm: f64,
    /// The same behind the final drive's loss, as seen from the output shaft.
    pub(super) wheel_side_nm: f64,
    /// Torque through each gear mesh at the end of the last step, Nm.
    pub(super) through_mesh_nm: ShaftValues,
    pub(super) energy: EnergyBook,
    pub(super) random: Random,
    /// Chance of faults, apart so that a fault does not change the noise of what is sound.
    pub(super) fault_random: Option<Random>,
    /// Speed of the vehicle as the output shaft would turn with it, rad/s, while the wheels may
    /// slip; with grip it is that shaft's.
    pub(super) vehicle_radps: Option<f64>,
    /// By how much the vehicle moved more than its wheels turned, rad at the output shaft.
    pub(super) slid_rad: f64,
    pub(super) unresolved: u32,
}

impl PlantState {
    pub(super) fn blank() -> PlantState {
        PlantState {
            steps: 0,
            speed: [0.0; MAX_SHAFTS],
            accel: [0.0; MAX_SHAFTS],
            angle: [0.0; MAX_SHAFTS],
            lock: [LockState::default(); MAX_LOCKS],
            touched: 0,
            machine: [MachineState::default(); MAX_MACHINES],
            engine: EngineState::default(),
            battery: BatteryState { charge: 0.6, ..BatteryState::default() },
            sensor: [SensorState::default(); MAX_SENSORS],
            sensed: [Speed { radps: 0.0, valid: true }; MAX_SENSORS],
            history: [[0.0; MAX_SENSORS]; SENSOR_HISTORY],
            head: 0,
            report: [LockReport::Missing; MAX_LOCKS],
            road_stuck: false,
            output_torque_nm: 0.0,
            wheel_side_nm: 0.0,
            through_mesh_nm: [0.0; MAX_SHAFTS],
            energy: EnergyBook::default(),
            random: Random::new(0),
            fault_random: None,
            vehicle_radps: None,
            slid_rad: 0.0,
            unresolved: 0,
        }
    }

    /// The generator of what faults do by chance; it begins with the first of them.
    pub(super) fn fault_chance(&mut self) -> &mut Random {
        let seed = self.random.raw() ^ FAULT_STREAM;
        self.fault_random.get_or_insert(Random::new(seed))
    }

    /// Steps taken since the start.
    pub fn steps(&self) -> u64 {
        self.steps
    }

    /// Time since the start in s.
    pub fn time_s(&self, model: &PlantModel) -> f64 {
        self.steps as f64 * model.dt_s
    }

    /// True speed of every shaft in rad/s; zero beyond the last shaft.
    pub fn speeds_radps(&self) -> &ShaftValues {
        &self.speed
    }

    /// True acceleration of every shaft in rad/s2 at the end of the last step.
    pub fn accelerations_radps2(&self) -> &ShaftValues {
        &self.accel
    }

    /// True slip speed of a lock in rad/s: first side minus second side.
    pub fn slip_radps(&self, model: &PlantModel, lock: usize) -> f64 {
        model.slip(lock, &self.speed)
    }

    /// The true state of a lock.
    pub fn lock(&self, lock: usize) -> &LockState {
        &self.lock[lock]
    }

    /// Locks that really hold their two sides together, bit `i` is lock `i`.
    pub fn locked_set(&self, model: &PlantModel) -> u8 {
        self.set_of(model, |l| l.actual == LockActual::Locked)
    }

    /// Locks that really carry torque beyond drag, slipping or locked.
    pub fn carrying_set(&self, model: &PlantModel) -> u8 {
        self.set_of(model, |l| matches!(l.actual, LockActual::Locked | LockActual::Slipping))
    }

    fn set_of(&self, model: &PlantModel, test: impl Fn(&LockState) -> bool) -> u8 {
        let locks = self.lock[..model.locks].iter().enumerate();
        locks.fold(0, |set, (i, l)| if test(l) { set | 1 << i } else { set })
    }

    /// Locks that began to carry torque in the last step, bit `i` is lock `i`.
    pub fn touched_set(&self) -> u8 {
        self.touched
    }

    /// The true state of a machine.
    pub fn machine(&self, machine: usize) -> &MachineState {
        &self.machine[machine]
    }

    /// The true state of the engine.
    pub fn engine(&self) -> &EngineState {
        &self.engine
    }

    /// The true state of the battery.
    pub fn battery(&self) -> &BatteryState {
        &self.battery
    }

    /// Road speed in m/s, that of the vehicle also while its wheels slip.
    pub fn road_speed_mps(&self, model: &PlantModel) -> f64 {
        self.vehicle_radps.unwrap_or(self.speed[model.road.shaft]) * model.road.metres_per_radian
    }

    /// Whether the wheels do not turn with the road: without grip, or with grip again and not yet pulled
    /// back by it.
    pub fn wheels_slide(&self) -> bool {
        self.vehicle_radps.is_some()
    }

    /// How much faster than the road the wheels turn, rad/s of the output shaft; 0 while they grip.
    pub fn wheel_slip_radps(&self, model: &PlantModel) -> f64 {
        self.vehicle_radps.map_or(0.0, |vehicle| self.speed[model.road.shaft] - vehicle)
    }

    /// Way driven in m since the start.
    pub fn distance_m(&self, model: &PlantModel) -> f64 {
        (self.angle[model.road.shaft] + self.slid_rad) * model.road.metres_per_radian
    }

    /// Torque from the output shaft into the final drive in Nm, in the last step.
    pub fn output_torque_nm(&self) -> f64 {
        self.output_torque_nm
    }

    /// Torque at the wheels in Nm (behind the final drive and its loss), in the last step.
    pub fn wheel_torque_nm(&self, model: &PlantModel) -> f64 {
        self.wheel_side_nm * model.road.final_drive
    }

    /// The energy book since the start.
    pub fn energy(&self) -> &EnergyBook {
        &self.energy
    }

    /// Steps in which the stick/slip search hit its bound; zero in every case we know of.
    pub fn unresolved(&self) -> u32 {
        self.unresolved
    }

    /// What the speed sensors say, as the supervisor gets it.
    pub fn sensed_speeds(&self) -> [Speed; MAX_SENSORS] {
        self.sensed
    }

    /// What the position switches say, as the supervisor gets it.
    pub fn lock_reports(&self) -> [LockReport; MAX_LOCKS] {
        self.report
    }

    /// What the machines' controllers say about their torque, as the supervisor gets it.
    pub fn torque_reports(&self) -> [Torque; MAX_MACHINES] {
        core::array::from_fn(|i| self.machine[i].reported)
    }

    /// Whether the engine's controller says that it runs by itself.
    pub fn engine_running(&self) -> bool {
        self.engine.actual == EngineActual::Running
    }

    /// FNV-1a over the bits of everything that moves: equal digests mean equal runs.
    pub fn digest(&self) -> u64 {
        let mut hash = Digest(0xcbf2_9ce4_8422_2325);
        hash.add(self.steps);
        self.speed.iter().chain(&self.angle).for_each(|x| hash.add(x.to_bits()));
        for l in &self.lock {
            let numbers = [l.fill, l.pressure, l.torque_nm, l.angle_rad, l.heat_j, l.rise_k];
            numbers.iter().for_each(|x| hash.add(x.to_bits()));
            hash.add(u64::from(l.closings) << 32 | u64::from(l.rejections));
        }
        for m in &self.machine {
            [m.torque_nm, m.electric_w].iter().for_each(|x| hash.add(x.to_bits()));
        }
        for s in &self.sensed {
            hash.add(u64::from(s.radps.to_bits()) << 1 | u64::from(s.valid));
        }
        hash.add(self.battery.charge.to_bits());
        hash.add(self.random.raw());
        self.fault_random.iter().for_each(|r| hash.add(r.raw()));
        self.vehicle_radps.iter().for_each(|w| hash.add(w.to_bits()));
        hash.0
    }
}

struct Digest(u64);

impl Digest {
    fn add(&mut self, word: u64) {
        for byte in word.to_le_bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
}
