//! Every table and key of the scenario file: the one place where they are listed.

use crate::driveline::spec::{FileSpec, Key, Literal, Shape, TableSpec, Type, Within};

/// Longest run, s: ten hours.
const LONGEST_S: f64 = 36_000.0;
/// Most points of a profile.
const MOST_POINTS: usize = 10_000;
const A_TIME: Type = Type::Number(Within::new(0.0, LONGEST_S));
const ROAD_SPEED: Type = Type::Number(Within::new(-600.0, 600.0));

/// The scenario file.
pub static SCENARIO: FileSpec = FileSpec {
    title: "Scenario file",
    about: "What happens in a drive of one driveline: the road speed or the pedal over time, the \
        slope of the road, the arrangements that are asked for, and the faults. Times are in \
        seconds from the start. Speed, pedal and slope go straight from point to point and stay \
        at the last value.",
    version: 1,
    root: &ROOT,
    tables: &[&PLATES, &SPEED, &PEDAL, &GRADE, &REQUEST, &FAULT],
};

static ROOT: TableSpec = TableSpec {
    name: "",
    shape: Shape::Root,
    need: None,
    doc: "Keys before the first table.",
    absent: "",
    keys: &[
        Key::new("format", Type::Version, "Version of the file format; this program reads 1.")
            .example("1"),
        Key::new("name", Type::Name, "Short name, used in names of files.")
            .example("\"hill-start\""),
        Key::new("about", Type::Text, "One sentence for a person.")
            .default(Literal::Word(""), "a description is a courtesy, not an input")
            .example("\"Up the hill and down again.\""),
        Key::new("duration_s", Type::Number(Within::above(0.0, LONGEST_S)), "Length of the drive.")
            .unit("s")
            .example("60"),
        Key::new("start_speed_kmh", ROAD_SPEED, "Road speed at the start.")
            .unit("km/h")
            .derived("the speed of the first [[speed]] point; 0 without one")
            .example("0"),
        Key::new(
            "start_arrangement",
            Type::Ref(&["arrangement"]),
            "Arrangement in which the drive begins, its locks closed and its engine as it says.",
        )
        .absent("every lock is open at the start"),
        Key::new(
            "start_charge",
            Type::Number(Within::new(0.0, 1.0)),
            "State of charge at the start, as a share of the battery's energy content.",
        )
        .derived("the middle of the battery's `charge_window`; 0.5 without a battery")
        .example("0.6"),
        Key::new(
            "seed",
            Type::Count { min: 0, max: u32::MAX },
            "Seed of all chance: sensor errors and noise, dog positions.",
        )
        .absent("1, or what the command line says")
        .example("7"),
    ],
};

static PLATES: TableSpec = TableSpec {
    name: "plates",
    shape: Shape::Many { max: 8 },
    need: None,
    doc: "Plates of a friction lock that are hot at the start. The supervisor knows it: the drive \
        begins in the middle of a longer one.",
    absent: "all plates are as warm as the oil at the start",
    keys: &[
        Key::new("lock", Type::Ref(&["lock"]), "Friction lock."),
        Key::new(
            "rise_k",
            Type::Number(Within::new(0.0, 1000.0)),
            "How much hotter than the oil they are.",
        )
        .unit("K")
        .example("95"),
    ],
};

static SPEED: TableSpec = TableSpec {
    name: "speed",
    shape: Shape::Many { max: MOST_POINTS },
    need: None,
    doc: "A point of the road speed that the driver follows.",
    absent: "the driver follows the pedal points, or without them holds the start speed",
    keys: &[
        Key::new("t_s", A_TIME, "Time.").unit("s").example("10"),
        Key::new("kmh", ROAD_SPEED, "Road speed; negative is in reverse.")
            .unit("km/h")
            .example("50"),
    ],
};

static PEDAL: TableSpec = TableSpec {
    name: "pedal",
    shape: Shape::Many { max: MOST_POINTS },
    need: None,
    doc: "A point of the pedal, instead of a road speed.",
    absent: "the driver follows the speed points",
    keys: &[
        Key::new("t_s", A_TIME, "Time.").unit("s").example("10"),
        Key::new(
            "share",
            Type::Number(Within::new(-1.0, 1.0)),
            "From -1 (full brake) to 1 (full drive).",
        )
        .example("0.4"),
    ],
};

static GRADE: TableSpec = TableSpec {
    name: "grade",
    shape: Shape::Many { max: MOST_POINTS },
    need: None,
    doc: "A point of the slope of the road.",
    absent: "the road is level",
    keys: &[
        Key::new("t_s", A_TIME, "Time.").unit("s").example("10"),
        Key::new(
            "percent",
            Type::Number(Within::new(-50.0, 50.0)),
            "Rise in percent of the horizontal distance; positive is uphill when driving forward.",
        )
        .unit("%")
        .example("6"),
    ],
};

static REQUEST: TableSpec = TableSpec {
    name: "request",
    shape: Shape::Many { max: 1000 },
    need: None,
    doc: "An arrangement that is asked for from a time on.",
    absent: "nothing is asked for: the driveline stays as it starts",
    keys: &[
        Key::new("t_s", A_TIME, "Time.").unit("s").example("10"),
        Key::new("arrangement", Type::Ref(&["arrangement"]), "Arrangement of the driveline file."),
    ],
};

/// Faults of a lock.
const LOCK: &[&str] = &[
    "lock-stuck-open",
    "lock-stuck-closed",
    "lock-opens",
    "lock-closes",
    "lock-slow-close",
    "lock-slow-release",
    "lock-drag",
    "switch-stuck-open",
    "switch-stuck-closed",
    "switch-missing",
    "switch-chatter",
];
/// Faults of a sensor.
const SENSOR: &[&str] = &[
    "sensor-bias",
    "sensor-scale",
    "sensor-sign",
    "sensor-dropout",
    "sensor-stuck",
    "sensor-noise",
    "sensor-coarse",
    "sensor-late",
    "sensor-jitter",
];
/// Faults of a machine.
const MACHINE: &[&str] = &[
    "machine-lost",
    "machine-sign",
    "machine-offset",
    "machine-scale",
    "machine-lag",
    "machine-silent",
];
/// A torque that goes wrong, either way.
const TORQUE: Type = Type::Number(Within::new(-10_000.0, 10_000.0));

static FAULT: TableSpec = TableSpec {
    name: "fault",
    shape: Shape::Many { max: 32 },
    need: None,
    doc: "A fault from one time to another.",
    absent: "everything is sound",
    keys: &[
        Key::new("from_s", A_TIME, "When it begins.").unit("s").example("10"),
        Key::new("to_s", A_TIME, "When it ends.")
            .unit("s")
            .absent(
                "it stays to the end of the drive; a reset happens once, at `from_s`; a supply dip \
                 must end",
            )
            .example("20"),
        Key::new("kind", Type::Choice(KINDS), "What fails.").example("\"lock-stuck-open\""),
        Key::new("target", Type::Ref(&["lock"]), "Lock that fails.").only(LOCK),
        Key::new(
            "target",
            Type::Ref(&["sensor"]),
            "Sensor that fails; sensors without a name bear their shaft's.",
        )
        .only(SENSOR),
        Key::new("target", Type::Ref(&["machine"]), "Machine that fails.").only(MACHINE),
        Key::new(
            "value",
            Type::Number(Within::new(1.0, 1000.0)),
            "How many times as long it takes, or how many times the lag.",
        )
        .only(&["lock-slow-close", "lock-slow-release", "machine-lag"])
        .example("5"),
        Key::new("value", Type::Number(Within::new(0.0, 10_000.0)), "Added drag torque.")
            .unit("Nm")
            .only(&["lock-drag"])
            .example("40"),
        Key::new(
            "value",
            Type::Number(Within::new(-100_000.0, 100_000.0)),
            "Added to the speed that the sensor reads.",
        )
        .unit("rpm")
        .only(&["sensor-bias"])
        .example("100"),
        Key::new(
            "value",
            Type::Number(Within::new(-10.0, 10.0)),
            "Factor on the speed that the sensor reads.",
        )
        .only(&["sensor-scale"])
        .example("1.1"),
        Key::new(
            "value",
            Type::Number(Within::above(0.0, 10_000.0)),
            "Largest noise, or the step in which the sensor reads.",
        )
        .unit("rpm")
        .only(&["sensor-noise", "sensor-coarse"])
        .example("20"),
        Key::new(
            "value",
            Type::Number(Within::above(0.0, 200.0)),
            "Added latency; with the sensor's own it must be within the 63 steps of the plant \
             (of about 1 ms) that are kept.",
        )
        .unit("ms")
        .only(&["sensor-late"])
        .example("20"),
        Key::new(
            "value",
            Type::Number(Within::above(0.0, 1000.0)),
            "Longest time for which a value is held.",
        )
        .unit("ms")
        .only(&["sensor-jitter"])
        .example("30"),
        Key::new("value", TORQUE, "Added to the torque that the machine gives.")
            .unit("Nm")
            .only(&["machine-offset"])
            .example("-15"),
        Key::new(
            "value",
            Type::Number(Within::new(-10.0, 10.0)),
            "Factor on the torque that the machine gives.",
        )
        .only(&["machine-scale"])
        .example("0.8"),
        Key::new(
            "value",
            Type::Number(Within::new(0.0, 2.0)),
            "Share of the vehicle's weight that the tyres carry at most, to drive or to brake.",
        )
        .only(&["wheel-slip"])
        .example("0.1"),
        Key::new(
            "value",
            Type::Count { min: 1, max: 1000 },
            "Most ticks that the supervisor misses in a row.",
        )
        .only(&["tick-jitter"])
        .example("2"),
    ],
};

static KINDS: &[(&str, &str)] = &[
    ("lock-stuck-open", "its pressure or sleeve never comes in; what is in may still be released"),
    ("lock-stuck-closed", "it never lets go; an open one may still be closed"),
    ("lock-opens", "it opens by itself, a dog even under load"),
    ("lock-closes", "it closes by itself"),
    ("lock-slow-close", "closing takes `value` times as long"),
    ("lock-slow-release", "releasing takes `value` times as long"),
    ("lock-drag", "`value` Nm more drag when open"),
    ("switch-stuck-open", "its position switch always says open"),
    ("switch-stuck-closed", "its position switch always says closed"),
    ("switch-missing", "its position switch says nothing"),
    ("switch-chatter", "its position switch says open or closed by chance, anew every ms"),
    ("sensor-bias", "reads `value` rpm too much"),
    ("sensor-scale", "reads `value` times the speed"),
    ("sensor-sign", "reads the speed with the wrong sign"),
    ("sensor-dropout", "has no valid value"),
    ("sensor-stuck", "repeats its last value and calls it valid"),
    (
        "sensor-noise",
        "each sample is off by chance, evenly from -`value` to `value` rpm, besides its own error",
    ),
    ("sensor-coarse", "reads in steps of `value` rpm, where its own are not coarser"),
    ("sensor-late", "its values come `value` ms later"),
    ("sensor-jitter", "repeats each value for 0 to `value` ms, by chance, and calls it valid"),
    ("machine-lost", "gives no torque, whatever is asked"),
    ("machine-sign", "gives its torque with the wrong sign"),
    (
        "machine-offset",
        "gives `value` Nm more than its controller believes and reports, within its limits; an \
         engine only while it runs",
    ),
    (
        "machine-scale",
        "gives `value` times the torque that its controller believes and reports, within its \
         limits; an engine only while it runs, and no less than its drag",
    ),
    ("machine-lag", "answers with `value` times its lag"),
    ("machine-silent", "its torque report is lost"),
    ("engine-stall", "the engine stops firing"),
    ("engine-no-start", "the engine cannot be started; a running one goes on"),
    (
        "engine-overrun",
        "while the engine runs it gives the full-load torque of its speed, whatever is asked; \
         beyond its highest speed none",
    ),
    (
        "wheel-slip",
        "the tyres carry at most `value` times the vehicle's weight; what is asked beyond spins or \
         blocks the wheels. The output then turns the wheels only (the share of the inertia that \
         `rotating_mass_factor` adds to the mass, at least 1 %), and the vehicle moves by itself \
         under the tyres' force, air and slope. The force grows with the slip up to 0.05 m/s. \
         Afterwards the tyres carry the whole weight, and wheels and vehicle become one again \
         when their speeds meet",
    ),
    ("supply-lost", "the lock actuators lose their supply"),
    (
        "supply-dip",
        "the lock actuators lose their supply, and when it is back at `to_s` the supervisor begins \
         anew, with the trace that the last one left",
    ),
    ("supply-cold-dip", "the same, and nothing is left of the last supervisor"),
    (
        "tick-missed",
        "the supervisor gets no tick (but the first of a drive): its orders and its word are held \
         while the driver, the drive controller and the plant go on",
    ),
    (
        "tick-jitter",
        "after each tick that the supervisor gets it misses 0 to `value` ticks, by chance; its \
         orders are held meanwhile",
    ),
    (
        "reset",
        "the supervisor begins anew, once, at `from_s`, with the trace that the last one left",
    ),
    (
        "cold-reset",
        "the supervisor begins anew, once, at `from_s`, and nothing is left of the last one",
    ),
];
