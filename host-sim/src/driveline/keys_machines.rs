//! Keys of machines and sensors.

use super::keys_parts::{SPEED_MOST_RPM, TORQUE_MOST_NM};
use super::spec::{Key, Literal, Purpose, Shape, TableSpec, Type, Within};

const ENGINE_SPEED: Within = Within::above(0.0, 20_000.0);

/// `[[machine]]`.
pub(super) static MACHINE: TableSpec = TableSpec {
    name: "machine",
    shape: Shape::Many { max: 4 },
    need: Some(Purpose::Table),
    doc: "An electric machine with its inverter, or the engine (at most one). An engine never \
        turns in reverse.",
    absent: "nothing can push the output",
    keys: &[
        Key::new("name", Type::Name, "Name of the machine.").example("\"traction\""),
        Key::new(
            "kind",
            Type::Choice(&[
                ("electric", "electric machine with its inverter"),
                ("engine", "combustion engine; at most one"),
            ]),
            "Electric or engine.",
        )
        .example("\"electric\""),
        Key::new("shaft", Type::Ref(&["shaft"]), "Shaft that it turns."),
        Key::new(
            "max_torque_nm",
            Type::Number(Within::above(0.0, TORQUE_MOST_NM)),
            "Torque limit, both signs.",
        )
        .unit("Nm")
        .needed(Purpose::Table)
        .only(&["electric"])
        .example("310"),
        Key::new(
            "max_power_kw",
            Type::Number(Within::above(0.0, 100_000.0)),
            "Limit of the power at the shaft, both signs.",
        )
        .unit("kW")
        .needed(Purpose::Plant)
        .only(&["electric"])
        .example("135"),
        Key::new(
            "max_rpm",
            Type::Number(Within::above(0.0, SPEED_MOST_RPM)),
            "Highest speed, both ways; it tightens the limits of the shaft.",
        )
        .unit("rpm")
        .absent("the shaft's limits are the machine's")
        .only(&["electric"])
        .example("9000"),
        Key::new(
            "lag_ms",
            Type::Number(Within::new(0.0, 1000.0)),
            "First-order lag from asked to real torque.",
        )
        .unit("ms")
        .default(Literal::Number(15.0), "inverter and its bus together")
        .only(&["electric"])
        .example("15"),
        Key::new(
            "loss",
            Type::Inline(&LOSS),
            "Loss in W: constant + copper T^2 + linear |w| + square w^2 + inverter |T w|, T in \
             Nm, w in rad/s.",
        )
        .default(Literal::Empty, "no loss is invented; energy figures are then too good")
        .only(&["electric"])
        .example("{ copper = 0.045, linear = 0.9, square = 0.0026, inverter = 0.022 }"),
        Key::new(
            "loss_map",
            Type::Text,
            "File of a measured loss map (CSV: speed_rpm, torque_nm and loss_w or efficiency), \
             seen from the driveline file; in energy figures it replaces `loss`.",
        )
        .absent("`loss` is used")
        .only(&["electric"])
        .example("\"traction.csv\""),
        Key::new("idle_rpm", Type::Number(ENGINE_SPEED), "Idle speed.")
            .unit("rpm")
            .only(&["engine"])
            .example("950"),
        Key::new("max_rpm", Type::Number(ENGINE_SPEED), "Highest running speed.")
            .unit("rpm")
            .only(&["engine"])
            .example("4200"),
        Key::new("stall_rpm", Type::Number(ENGINE_SPEED), "Below this speed it stalls.")
            .unit("rpm")
            .derived("0.6 x `idle_rpm`")
            .only(&["engine"])
            .example("500"),
        Key::new(
            "own_starter",
            Type::Flag,
            "Whether it starts by itself; otherwise a machine must turn it.",
        )
        .default(Literal::Flag(true), "most engines have one")
        .only(&["engine"]),
        Key::new(
            "start_ms",
            Type::Number(Within::above(0.0, 20_000.0)),
            "Time that its own starter takes from standstill to idle.",
        )
        .unit("ms")
        .default(Literal::Number(700.0), "a warm engine with a normal starter")
        .only(&["engine"])
        .example("700"),
        Key::new(
            "torque_curve_rpm_nm",
            Type::Curve { x: Within::new(0.0, 20_000.0), y: Within::new(0.0, TORQUE_MOST_NM) },
            "Full-load torque over speed, pairs [rpm, Nm].",
        )
        .unit("rpm, Nm")
        .needed(Purpose::Plant)
        .only(&["engine"])
        .example("[[950, 105], [1700, 160], [4200, 150]]"),
        Key::new(
            "drag_nm",
            Type::Number(Within::new(0.0, 100_000.0)),
            "Torque that it takes to turn it unfired.",
        )
        .unit("Nm")
        .derived(
            "from displacement and loss pressure at idle; without these 8 % of the highest \
             full-load torque; without that 10 Nm",
        )
        .only(&["engine"])
        .example("13"),
        Key::new(
            "lag_ms",
            Type::Number(Within::new(0.0, 5000.0)),
            "First-order lag from asked to real torque.",
        )
        .unit("ms")
        .default(Literal::Number(150.0), "air path and combustion of a small engine")
        .only(&["engine"])
        .example("150"),
        Key::new(
            "displacement_l",
            Type::Number(Within::above(0.0, 1000.0)),
            "Displacement, for the fuel model.",
        )
        .unit("l")
        .absent("fuel is not worked out")
        .only(&["engine"])
        .example("1.5"),
        Key::new(
            "willans_efficiency",
            Type::Number(Within::above(0.0, 0.7)),
            "Slope of the Willans line: brake mean pressure = efficiency x fuel mean pressure - \
             loss pressure.",
        )
        .absent("fuel is not worked out")
        .only(&["engine"])
        .example("0.42"),
        Key::new(
            "loss_pressure_bar",
            Type::Numbers { count: 3, each: Within::new(0.0, 50.0), rising: false },
            "Loss pressure: constant, per 1000 rpm, per (1000 rpm)^2.",
        )
        .unit("bar")
        .absent("fuel is not worked out")
        .only(&["engine"])
        .example("[1.05, 0.0, 0.1]"),
        Key::new(
            "fuel_mj_per_kg",
            Type::Number(Within::above(0.0, 150.0)),
            "Lower heating value of the fuel.",
        )
        .unit("MJ/kg")
        .default(Literal::Number(42.7), "diesel fuel (from memory)")
        .only(&["engine"])
        .example("42.7"),
        Key::new(
            "fuel_map",
            Type::Text,
            "File of a measured fuel map (CSV: speed_rpm, torque_nm and fuel_g_per_s or \
             fuel_g_per_kwh), seen from the driveline file; it replaces the Willans line.",
        )
        .absent("the Willans line is used")
        .only(&["engine"])
        .example("\"engine.csv\""),
    ],
};

const COEFFICIENT: Type = Type::Number(Within::new(0.0, 1_000_000.0));

static LOSS: TableSpec = TableSpec {
    name: "loss",
    shape: Shape::One,
    need: None,
    doc: "Loss of an electric machine and its inverter.",
    absent: "",
    keys: &[
        Key::new("constant", COEFFICIENT, "Whenever it is on.")
            .unit("W")
            .default(Literal::Number(0.0), "left out means none")
            .example("150"),
        Key::new("copper", COEFFICIENT, "Times torque squared.")
            .unit("W/Nm2")
            .default(Literal::Number(0.0), "left out means none")
            .example("0.045"),
        Key::new("linear", COEFFICIENT, "Times speed.")
            .unit("W/(rad/s)")
            .default(Literal::Number(0.0), "left out means none")
            .example("0.9"),
        Key::new("square", COEFFICIENT, "Times speed squared.")
            .unit("W/(rad/s)2")
            .default(Literal::Number(0.0), "left out means none")
            .example("0.0026"),
        Key::new("inverter", Type::Number(Within::new(0.0, 1.0)), "Times shaft power.")
            .unit("W/W")
            .default(Literal::Number(0.0), "left out means none")
            .example("0.022"),
    ],
};

/// `[[sensor]]`.
pub(super) static SENSOR: TableSpec = TableSpec {
    name: "sensor",
    shape: Shape::Many { max: 8 },
    need: None,
    doc: "A speed sensor. Stating one replaces all the default ones.",
    absent: "one sensor on every shaft in file order; with more than 8 shafts first those of the \
        machines, then the output, then the sides of the locks in file order, then the rest, \
        until there are 8",
    keys: &[
        Key::new("shaft", Type::Ref(&["shaft"]), "Shaft that it sits on."),
        Key::new("name", Type::Name, "Name of the sensor.")
            .derived("the name of its shaft")
            .example("\"sun-speed\""),
        Key::new(
            "kind",
            Type::Choice(&[
                ("pulses", "toothed wheel with two pick-ups, so that direction is known"),
                ("resolver", "resolver, as on most electric machines"),
            ]),
            "Pulses or resolver.",
        )
        .derived(
            "resolver on a shaft with an electric machine, pulses elsewhere and where \
             `pulses_per_turn` is given",
        ),
        Key::new(
            "pulses_per_turn",
            Type::Count { min: 1, max: 10_000 },
            "Pulses in one turn of the shaft.",
        )
        .default(Literal::Count(60), "a usual toothed wheel; 1 pulse a second is 1 rpm")
        .only(&["pulses"])
        .example("60"),
        Key::new(
            "range_rpm",
            Type::Number(Within::above(0.0, SPEED_MOST_RPM)),
            "Largest speed that it reads, both signs.",
        )
        .unit("rpm")
        .derived("1.25 x the larger limit of the shaft; 10000 rpm without a limit")
        .example("6000"),
        Key::new(
            "error_rpm",
            Type::Number(Within::new(0.0, 1000.0)),
            "Largest error apart from resolution and latency.",
        )
        .unit("rpm")
        .default(Literal::Number(2.0), "run-out and jitter of a good sensor")
        .example("2"),
        Key::new(
            "resolution_rpm",
            Type::Number(Within::new(0.0, 1000.0)),
            "Step between two readings.",
        )
        .unit("rpm")
        .default(Literal::Number(1.0), "one rpm a bit on the bus")
        .example("1"),
        Key::new(
            "latency_ms",
            Type::Number(Within::new(0.0, 1000.0)),
            "Age of the value when the supervisor reads it.",
        )
        .unit("ms")
        .default(Literal::Number(1.0), "a sensor read by the same controller")
        .example("1"),
    ],
};
