//! Keys of shafts, gears and locks.

use super::spec::{Key, Literal, Purpose, Shape, TableSpec, Type, Within};

/// Widest speed that is believed, rpm.
pub(super) const SPEED_MOST_RPM: f64 = 200_000.0;
/// Widest torque that is believed, Nm.
pub(super) const TORQUE_MOST_NM: f64 = 1_000_000.0;
const EFFICIENCY: Within = Within::above(0.0, 1.0);
const A_TIME_MS: Within = Within::new(0.0, 10_000.0);
const SHAFTS: Type = Type::Ref(&["shaft"]);

/// `[[shaft]]`.
pub(super) static SHAFT: TableSpec = TableSpec {
    name: "shaft",
    shape: Shape::Many { max: 16 },
    need: Some(Purpose::Survey),
    doc: "A rigid shaft with everything that turns with it.",
    absent: "",
    keys: &[
        Key::new("name", Type::Name, "Name of the shaft; \"case\" is taken by the housing.")
            .example("\"sun\""),
        Key::new(
            "inertia_kg_m2",
            Type::Number(Within::above(0.0, 1000.0)),
            "Moment of inertia of all that turns with the shaft.",
        )
        .unit("kg m2")
        .needed(Purpose::Table)
        .example("0.05"),
        Key::new(
            "max_rpm",
            Type::Number(Within::above(0.0, SPEED_MOST_RPM)),
            "Highest allowed speed forward.",
        )
        .unit("rpm")
        .absent("no limit is stated, and nothing guards this shaft's speed")
        .example("6000"),
        Key::new(
            "min_rpm",
            Type::Number(Within::new(-SPEED_MOST_RPM, 0.0)),
            "Lowest allowed (signed) speed: the limit in reverse.",
        )
        .unit("rpm")
        .derived("minus `max_rpm`: most shafts stand the same speed both ways")
        .example("-3000"),
        Key::new(
            "tested_rpm",
            Type::Number(Within::above(0.0, SPEED_MOST_RPM)),
            "Speed, either way, that the shaft was shown to bear for `tested_s`. Tables never use \
             it: after a fault the judge of overspeed does. Machines are commonly tested at 1.2 \
             times their highest speed for two minutes (IEC 60034-1; for rail and road vehicles \
             IEC 60349; from memory).",
        )
        .unit("rpm")
        .absent("the shaft bears its limits and no more, whatever fails")
        .example("12000"),
        Key::new(
            "tested_s",
            Type::Number(Within::above(0.0, 3600.0)),
            "How long the shaft may be beyond its limits after faults, in all.",
        )
        .unit("s")
        .default(Literal::Number(120.0), "as long as such a test commonly lasts")
        .example("120"),
        Key::new(
            "spin_drag_nm",
            Type::Number(Within::new(0.0, 10_000.0)),
            "Drag of its bearings, seals and oil at any speed but zero, for energy figures; the \
             plant's shafts turn freely.",
        )
        .unit("Nm")
        .default(Literal::Number(0.0), "no loss is invented; energy figures are then too good")
        .example("0.4"),
        Key::new(
            "spin_drag_nm_per_krpm",
            Type::Number(Within::new(0.0, 10_000.0)),
            "The part of that drag that grows with speed.",
        )
        .unit("Nm per 1000 rpm")
        .default(Literal::Number(0.0), "no loss is invented; energy figures are then too good")
        .example("0.2"),
    ],
};

/// `[[planetary]]`.
pub(super) static PLANETARY: TableSpec = TableSpec {
    name: "planetary",
    shape: Shape::Many { max: 8 },
    need: None,
    doc: "A planetary gear set: it ties the speeds of three different shafts together.",
    absent: "the driveline has no planetary set",
    keys: &[
        Key::new("name", Type::Name, "Name of the set.").example("\"reduction\""),
        Key::new("sun", SHAFTS, "Shaft that carries the sun."),
        Key::new("ring", SHAFTS, "Shaft that carries the ring."),
        Key::new("carrier", SHAFTS, "Shaft that carries the planets."),
        Key::new("sun_teeth", Type::Count { min: 5, max: 2000 }, "Teeth of the sun.").example("30"),
        Key::new(
            "ring_teeth",
            Type::Count { min: 6, max: 2000 },
            "Teeth of the ring; more than the sun has.",
        )
        .example("66"),
        Key::new(
            "planets",
            Type::Count { min: 1, max: 12 },
            "Number of planets (of planet pairs in a double-planet set).",
        )
        .default(Literal::Count(3), "three planets are the usual number")
        .example("4"),
        Key::new(
            "planet",
            Type::Choice(&[
                ("single", "one planet between sun and ring: Zs ws + Zr wr = (Zs + Zr) wc"),
                ("double", "two meshing planets between them: Zr wr - Zs ws = (Zr - Zs) wc"),
            ]),
            "Single or double planets.",
        )
        .default(Literal::Word("single"), "the usual form"),
        Key::new(
            "mesh_efficiency",
            Type::Number(EFFICIENCY),
            "Efficiency of the set with its carrier held.",
        )
        .default(Literal::Number(0.985), "two good ground meshes, about 0.75 % loss each")
        .example("0.985"),
    ],
};

/// `[[gear_pair]]`.
pub(super) static GEAR_PAIR: TableSpec = TableSpec {
    name: "gear_pair",
    shape: Shape::Many { max: 16 },
    need: None,
    doc: "Two shafts with a fixed ratio (a gear pair, a chain): speed of `a` = ratio x speed of \
        `b`. Write either `ratio`, or both tooth counts.",
    absent: "the driveline has no gear pair",
    keys: &[
        Key::new("name", Type::Name, "Name of the pair.").example("\"transfer\""),
        Key::new("a", SHAFTS, "First shaft."),
        Key::new("b", SHAFTS, "Second shaft."),
        Key::new(
            "ratio",
            Type::Ratio(Within::signed(1000.0)),
            "Speed of `a` per speed of `b`, exact and signed; negative when the pair reverses.",
        )
        .derived("from the tooth counts")
        .example("\"-23/40\""),
        Key::new("a_teeth", Type::Count { min: 5, max: 2000 }, "Teeth of the gear on `a`.")
            .derived("not used when `ratio` is given")
            .example("40"),
        Key::new("b_teeth", Type::Count { min: 5, max: 2000 }, "Teeth of the gear on `b`.")
            .derived("not used when `ratio` is given")
            .example("23"),
        Key::new(
            "mesh",
            Type::Choice(&[
                ("external", "the shafts turn opposite ways: ratio = -b_teeth/a_teeth"),
                ("internal", "one gear is a ring, the shafts turn the same way: + b_teeth/a_teeth"),
            ]),
            "How the teeth mesh; only with tooth counts.",
        )
        .default(Literal::Word("external"), "the usual form"),
        Key::new("mesh_efficiency", Type::Number(EFFICIENCY), "Efficiency of the pair.")
            .default(Literal::Number(0.99), "one good ground mesh")
            .example("0.99"),
    ],
};

/// `[[lock]]`.
pub(super) static LOCK: TableSpec = TableSpec {
    name: "lock",
    shape: Shape::Many { max: 8 },
    need: Some(Purpose::Table),
    doc: "A brake (a shaft to the case) or a clutch (shaft to shaft), by friction or by dogs.",
    absent: "the driveline has no lock, and only its gears can be surveyed",
    keys: &[
        Key::new("name", Type::Name, "Name of the lock.").example("\"ring-brake\""),
        Key::new(
            "joins",
            Type::Joins,
            "The two sides: two shafts for a clutch, a shaft and \"case\" for a brake.",
        ),
        Key::new(
            "kind",
            Type::Choice(&[
                ("friction", "multi-plate; may slip, torque up to its capacity"),
                ("dog", "positive; closes only at a small slip, then rigid"),
            ]),
            "Friction or dog.",
        )
        .example("\"friction\""),
        Key::new(
            "capacity_nm",
            Type::Number(Within::above(0.0, TORQUE_MOST_NM)),
            "Largest torque it holds: sliding torque when fully applied, or strength of the dogs.",
        )
        .unit("Nm")
        .needed(Purpose::Table)
        .example("900"),
        Key::new(
            "engage_slip_max_rpm",
            Type::Number(Within::above(0.0, 5000.0)),
            "Largest slip, either sign, at which it may be closed.",
        )
        .unit("rpm")
        .needed(Purpose::Table)
        .example("60"),
        Key::new(
            "normally",
            Type::Choice(&[
                ("open", "opens by itself without supply"),
                ("closed", "closes by itself without supply"),
            ]),
            "State without supply.",
        )
        .default(Literal::Word("open"), "a lost supply then frees the driveline"),
        Key::new("switch", Type::Flag, "Whether a position switch reports open or closed.")
            .default(Literal::Flag(true), "without it only the slip tells the lock's state"),
        Key::new(
            "release_ms",
            Type::Number(A_TIME_MS),
            "Time from the order to open until it carries no torque.",
        )
        .unit("ms")
        .default(Literal::Number(60.0), "emptying a piston takes less than filling it")
        .only(&["friction"])
        .example("60"),
        Key::new(
            "release_ms",
            Type::Number(A_TIME_MS),
            "Time from the order to open until it carries no torque.",
        )
        .unit("ms")
        .default(Literal::Number(40.0), "a sleeve moved out by a spring or fork, unloaded")
        .only(&["dog"])
        .example("40"),
        Key::new(
            "drag_nm",
            Type::Number(Within::new(0.0, 10_000.0)),
            "Drag torque when open and slipping.",
        )
        .unit("Nm")
        .derived(
            "0.3 % of `capacity_nm` for friction (wet plates in oil), 0.1 % for a dog; 0 without \
             a capacity",
        )
        .example("2"),
        Key::new(
            "fill_ms",
            Type::Number(A_TIME_MS),
            "Time to fill the piston up to the kiss point, before any torque.",
        )
        .unit("ms")
        .default(Literal::Number(100.0), "a wet clutch of this size fills in about 0.1 s")
        .only(&["friction"])
        .example("90"),
        Key::new(
            "ramp_ms",
            Type::Number(A_TIME_MS),
            "Time for the torque to rise from the kiss point to the capacity.",
        )
        .unit("ms")
        .default(Literal::Number(100.0), "about as long as the fill, and free of jerk")
        .only(&["friction"])
        .example("100"),
        Key::new(
            "energy_budget_kj",
            Type::Number(Within::above(0.0, 100_000.0)),
            "Friction work allowed in one closing.",
        )
        .unit("kJ")
        .default(Literal::Number(10.0), "0.02 m2 of paper lining at 0.5 J/mm2")
        .only(&["friction"])
        .example("12"),
        Key::new(
            "static_ratio",
            Type::Number(Within::new(1.0, 3.0)),
            "Break-away torque per sliding torque.",
        )
        .default(Literal::Number(1.1), "paper lining in oil, a little above 1")
        .only(&["friction"])
        .example("1.1"),
        Key::new(
            "heat_capacity_kj_per_k",
            Type::Number(Within::above(0.0, 10_000.0)),
            "Heat capacity of the plates.",
        )
        .unit("kJ/K")
        .derived("`energy_budget_kj` / 20 K: one full budget warms the plates by 20 K")
        .only(&["friction"])
        .example("0.6"),
        Key::new(
            "cooling_time_s",
            Type::Number(Within::above(0.0, 10_000.0)),
            "Time constant with which the plates cool to the oil's temperature.",
        )
        .unit("s")
        .default(Literal::Number(15.0), "plates under a steady flow of oil")
        .only(&["friction"])
        .example("15"),
        Key::new(
            "max_rise_k",
            Type::Number(Within::above(0.0, 1000.0)),
            "Rise over the oil's temperature above which closing is inhibited.",
        )
        .unit("K")
        .default(Literal::Number(100.0), "oil at 90 C and plates below 200 C")
        .only(&["friction"])
        .example("100"),
        Key::new(
            "insertion_ms",
            Type::Number(A_TIME_MS),
            "Time from the order to close until the dogs are in, when nothing stands in the way.",
        )
        .unit("ms")
        .default(Literal::Number(25.0), "a light sleeve with an electric or air actuator")
        .only(&["dog"])
        .example("25"),
        Key::new("teeth", Type::Count { min: 2, max: 400 }, "Dog teeth around the ring.")
            .default(Literal::Count(36), "10 degrees from tooth to tooth")
            .only(&["dog"])
            .example("36"),
        Key::new(
            "backlash_deg",
            Type::Number(Within::above(0.0, 60.0)),
            "Free angle between the flanks when in.",
        )
        .unit("deg")
        .default(Literal::Number(3.0), "with 36 teeth, 30 % of the pitch")
        .only(&["dog"])
        .example("3.0"),
        Key::new(
            "offset_rpm",
            Type::Number(Within::new(0.0, 5000.0)),
            "Slip that is aimed at before the dogs are asked in: at no slip they may stand tooth \
             on tooth.",
        )
        .unit("rpm")
        .derived("a fifth of `engage_slip_max_rpm`; 5 rpm without it")
        .only(&["dog"])
        .example("4"),
    ],
};
