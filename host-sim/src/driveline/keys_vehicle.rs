//! Keys of the output, the vehicle and the battery.

use super::spec::{Key, Literal, Purpose, Shape, TableSpec, Type, Within};

/// `[output]`.
pub(super) static OUTPUT: TableSpec = TableSpec {
    name: "output",
    shape: Shape::One,
    need: Some(Purpose::Survey),
    doc: "The way from the driveline to the wheels.",
    absent: "",
    keys: &[
        Key::new("shaft", Type::Ref(&["shaft"]), "Shaft that drives the wheels."),
        Key::new(
            "final_drive",
            Type::Ratio(Within::above(0.0, 1000.0)),
            "Speed of the output shaft per speed of the wheels, exact.",
        )
        .needed(Purpose::Table)
        .example("\"41/13\""),
        Key::new(
            "final_drive_efficiency",
            Type::Number(Within::above(0.0, 1.0)),
            "Efficiency of the final drive.",
        )
        .default(Literal::Number(0.97), "a hypoid or bevel set with its bearings")
        .example("0.97"),
        Key::new(
            "tyre_radius_m",
            Type::Number(Within::above(0.0, 3.0)),
            "Rolling radius of the wheels.",
        )
        .unit("m")
        .needed(Purpose::Table)
        .example("0.355"),
    ],
};

/// `[vehicle]`.
pub(super) static VEHICLE: TableSpec = TableSpec {
    name: "vehicle",
    shape: Shape::One,
    need: Some(Purpose::Plant),
    doc: "The vehicle: road load = f0 + f1 v + f2 v^2 on a level road, v in m/s.",
    absent: "the plant cannot be driven",
    keys: &[
        Key::new("mass_kg", Type::Number(Within::above(0.0, 1_000_000.0)), "Mass, loaded.")
            .unit("kg")
            .example("4300"),
        Key::new(
            "rotating_mass_factor",
            Type::Number(Within::new(1.0, 2.0)),
            "Mass that counts for acceleration (wheels turning) per mass.",
        )
        .default(Literal::Number(1.04), "wheels and tyres add about 4 %")
        .example("1.03"),
        Key::new(
            "road_load_f0_n",
            Type::Number(Within::new(0.0, 1_000_000.0)),
            "Road load: the constant part.",
        )
        .unit("N")
        .example("400"),
        Key::new(
            "road_load_f1_n_per_mps",
            Type::Number(Within::new(0.0, 100_000.0)),
            "Road load: the part that grows with speed.",
        )
        .unit("N per m/s")
        .default(Literal::Number(0.0), "often folded into the other two")
        .example("2.5"),
        Key::new(
            "road_load_f2_n_per_mps2",
            Type::Number(Within::new(0.0, 10_000.0)),
            "Road load: the part that grows with the square of speed.",
        )
        .unit("N per (m/s)2")
        .example("1.0"),
        Key::new(
            "max_speed_kmh",
            Type::Number(Within::above(0.0, 600.0)),
            "Highest road speed.",
        )
        .unit("km/h")
        .example("125"),
        Key::new(
            "max_acceleration_mps2",
            Type::Number(Within::above(0.0, 20.0)),
            "Largest acceleration, either sign, that tyres and brakes allow; it bounds the margins.",
        )
        .unit("m/s2")
        .default(Literal::Number(4.0), "firm braking with people standing is well below it")
        .example("4"),
        Key::new(
            "driveline_decel_max_mps2",
            Type::Number(Within::above(0.0, 20.0)),
            "Largest deceleration that the driveline may cause without being asked for it.",
        )
        .unit("m/s2")
        .default(Literal::Number(3.0), "an invented round value, below firm braking")
        .example("3"),
        Key::new(
            "auxiliary_w",
            Type::Number(Within::new(0.0, 1_000_000.0)),
            "Electric power of the auxiliaries.",
        )
        .unit("W")
        .default(Literal::Number(500.0), "controllers, pumps and lights")
        .example("600"),
    ],
};

/// `[battery]`.
pub(super) static BATTERY: TableSpec = TableSpec {
    name: "battery",
    shape: Shape::One,
    need: None,
    doc: "The traction battery.",
    absent: "an ideal electric supply without limits and without a state of charge",
    keys: &[
        Key::new(
            "energy_kwh",
            Type::Number(Within::above(0.0, 100_000.0)),
            "Energy content from empty to full.",
        )
        .unit("kWh")
        .example("52"),
        Key::new("nominal_v", Type::Number(Within::above(0.0, 5000.0)), "Nominal voltage.")
            .unit("V")
            .example("370"),
        Key::new("resistance_ohm", Type::Number(Within::new(0.0, 100.0)), "Internal resistance.")
            .unit("ohm")
            .derived("0.05 x nominal_v^2 / discharge_max: 5 % voltage drop at full discharge")
            .example("0.09"),
        Key::new(
            "discharge_max_kw",
            Type::Number(Within::above(0.0, 100_000.0)),
            "Largest discharge power.",
        )
        .unit("kW")
        .example("160"),
        Key::new(
            "charge_max_kw",
            Type::Number(Within::new(0.0, 100_000.0)),
            "Largest charge power.",
        )
        .unit("kW")
        .example("90"),
        Key::new(
            "charge_window",
            Type::Numbers { count: 2, each: Within::new(0.0, 1.0), rising: true },
            "Allowed state of charge, from and to, as shares of the energy content.",
        )
        .default(Literal::List(&[0.1, 0.9]), "the usual rest kept at both ends")
        .example("[0.2, 0.9]"),
    ],
};
