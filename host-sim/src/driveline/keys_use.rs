//! Keys of arrangements, costs and timing.

use super::spec::{Key, Literal, Purpose, Shape, TableSpec, Type, Within};

const ROAD_SPEED: Within = Within::new(-600.0, 600.0);
const A_COST: Within = Within::new(0.0, 1_000_000.0);
const A_TIME_OUT: Within = Within::above(0.0, 600_000.0);
const A_DWELL: Within = Within::new(0.0, 600_000.0);

/// `[[arrangement]]`.
pub(super) static ARRANGEMENT: TableSpec = TableSpec {
    name: "arrangement",
    shape: Shape::Many { max: 16 },
    need: Some(Purpose::Table),
    doc: "A lock set that the driveline is meant to run in, with a name.",
    absent: "only the survey can be made",
    keys: &[
        Key::new("name", Type::Name, "Name that a request uses.").example("\"low\""),
        Key::new(
            "closed",
            Type::Refs("lock"),
            "Closed locks; all others are open. An empty list means that all are open.",
        ),
        Key::new(
            "engine",
            Type::Choice(&[
                ("on", "the engine runs"),
                ("off", "the engine stands"),
                ("either", "it stays as it is"),
            ]),
            "Whether the engine runs.",
        )
        .default(Literal::Word("either"), "a lock set says nothing about the engine"),
        Key::new(
            "roles",
            Type::Words {
                of: "machine",
                words: &[
                    ("drives", "pushes the wheels"),
                    ("generates", "turns the engine's power into electric power"),
                    ("holds-speed", "holds the speed of a free shaft"),
                    ("idle", "is not used"),
                ],
            },
            "What each machine is for.",
        )
        .absent("machines that are not named are left to the tool"),
        Key::new(
            "min_speed_kmh",
            Type::Number(ROAD_SPEED),
            "Lowest road speed at which it may be asked; negative is in reverse.",
        )
        .unit("km/h")
        .absent("no limit but those of the shafts")
        .example("-20"),
        Key::new(
            "max_speed_kmh",
            Type::Number(ROAD_SPEED),
            "Highest road speed at which it may be asked.",
        )
        .unit("km/h")
        .absent("no limit but those of the shafts")
        .example("90"),
    ],
};

/// `[costs]`.
pub(super) static COSTS: TableSpec = TableSpec {
    name: "costs",
    shape: Shape::One,
    need: None,
    doc: "Weights of the search for the best way between lock sets: cost = per_s x time + \
        per_gap_s x time without push at the wheels + per_kj x friction work + per_action x lock \
        actions.",
    absent: "the defaults",
    keys: &[
        Key::new("per_s", Type::Number(A_COST), "Cost of a second.")
            .default(Literal::Number(1.0), "the unit of cost is one second")
            .example("1"),
        Key::new(
            "per_gap_s",
            Type::Number(A_COST),
            "Cost of a second without push at the wheels, on top of the time itself.",
        )
        .default(
            Literal::Number(10.0),
            "a gap-free way may take 10 s longer for each second of gap that it saves",
        )
        .example("10"),
        Key::new("per_kj", Type::Number(A_COST), "Cost of a kilojoule of friction work.")
            .default(Literal::Number(0.05), "20 kJ weigh as much as a second")
            .example("0.05"),
        Key::new("per_action", Type::Number(A_COST), "Cost of one lock action (wear).")
            .default(Literal::Number(0.2), "of two equal ways, the one with fewer actions")
            .example("0.2"),
    ],
};

/// `[timing]`.
pub(super) static TIMING: TableSpec = TableSpec {
    name: "timing",
    shape: Shape::One,
    need: None,
    doc: "Tick, dwell and time-outs of the supervisor.",
    absent: "the defaults",
    keys: &[
        Key::new("tick_ms", Type::Number(Within::new(0.1, 100.0)), "Supervisor period.")
            .unit("ms")
            .default(
                Literal::Number(1.0),
                "a machine that lost its reaction may overspeed in some 30 ms",
            )
            .example("1"),
        Key::new(
            "sync_dwell_ms",
            Type::Number(A_DWELL),
            "How long a slip must stay within its limit before the lock is closed.",
        )
        .unit("ms")
        .default(Literal::Number(20.0), "crossing +-60 rpm at 6000 rpm/s takes 20 ms")
        .example("20"),
        Key::new(
            "sync_timeout_ms",
            Type::Number(A_TIME_OUT),
            "How long bringing a slip into its limit may take.",
        )
        .unit("ms")
        .default(Literal::Number(3000.0), "18000 rpm at the default rate of 6000 rpm/s")
        .example("3000"),
        Key::new(
            "unload_timeout_ms",
            Type::Number(A_TIME_OUT),
            "How long unloading a lock may take.",
        )
        .unit("ms")
        .default(Literal::Number(1000.0), "several lags of an engine, the slowest machine")
        .example("1000"),
        Key::new(
            "confirm_timeout_ms",
            Type::Number(A_TIME_OUT),
            "How long a lock may take, over its own time, to be shown closed or open.",
        )
        .unit("ms")
        .default(Literal::Number(150.0), "cold oil and a slow switch")
        .example("150"),
        Key::new(
            "overlap_max_ms",
            Type::Number(A_TIME_OUT),
            "Longest time for which a shaft may be held on purpose during an overlap.",
        )
        .unit("ms")
        .default(Literal::Number(800.0), "one closing and one opening with cold oil")
        .example("800"),
        Key::new("min_stay_ms", Type::Number(A_DWELL), "Shortest stay in an arrangement.")
            .unit("ms")
            .default(Literal::Number(500.0), "a hunting request must not wear the locks")
            .example("500"),
        Key::new(
            "request_dwell_ms",
            Type::Number(A_DWELL),
            "How long a request must stand before it is taken up.",
        )
        .unit("ms")
        .default(Literal::Number(50.0), "longer than a bouncing contact")
        .example("50"),
        Key::new(
            "retries",
            Type::Count { min: 1, max: 20 },
            "Attempts on one way (a dog may stand tooth on tooth) before the next way, and then a refusal.",
        )
        .default(Literal::Count(3), "tooth on tooth several times running means a fault")
        .example("3"),
        Key::new(
            "sync_rate_max_rpm_per_s",
            Type::Number(Within::above(0.0, 1_000_000.0)),
            "Fastest change of slip that machines are asked for while synchronising.",
        )
        .unit("rpm/s")
        .default(Literal::Number(6000.0), "6 rpm in a tick, well inside a 60 rpm slip limit")
        .example("6000"),
        Key::new(
            "unloaded_share",
            Type::Number(Within::above(0.0, 0.5)),
            "Torque, as a share of its capacity, below which a lock counts as unloaded.",
        )
        .default(Literal::Number(0.05), "a jerk that nobody feels")
        .example("0.05"),
        Key::new(
            "rest_rpm",
            Type::Number(Within::above(0.0, 1000.0)),
            "Below this speed, either sign, a shaft counts as at rest.",
        )
        .unit("rpm")
        .default(Literal::Number(40.0), "pulse sensors say little below it")
        .example("40"),
        Key::new(
            "fault_tolerant_time_ms",
            Type::Number(A_TIME_OUT),
            "Longest time from a fault to the end of its reaction (fault tolerant time interval).",
        )
        .unit("ms")
        .absent("times are shown, but not judged")
        .example("200"),
    ],
};
