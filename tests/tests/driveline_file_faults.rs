//! Every fault of a driveline file: found where it stands, told in plain words, with a fix.
//!
//! Each case plants one fault in a good file and says what must be underlined and told.
//! The whole output of all cases is kept in `tests/snapshots/`; it is rewritten only
//! with SLIPWARDEN_WRITE=1, so that a changed wording shows as a diff.

use std::path::PathBuf;

use host_sim::driveline::{self, Diagnostics, Severity};

const GOOD: &str = r#"format = 1
name = "good"
about = "Invented."

[[shaft]]
name = "sun"
inertia_kg_m2 = 0.05
max_rpm = 9000
[[shaft]]
name = "ring"
inertia_kg_m2 = 0.03
max_rpm = 5000
[[shaft]]
name = "output"
inertia_kg_m2 = 0.05
max_rpm = 5000
[[shaft]]
name = "crank"
inertia_kg_m2 = 0.2
max_rpm = 4200

[[planetary]]
name = "set"
sun = "sun"
ring = "ring"
carrier = "output"
sun_teeth = 30
ring_teeth = 66
planets = 4

[[gear_pair]]
name = "pair"
a = "crank"
b = "ring"
ratio = "-23/40"

[[lock]]
name = "brake"
joins = ["ring", "case"]
kind = "friction"
capacity_nm = 900
engage_slip_max_rpm = 60
fill_ms = 90
[[lock]]
name = "dog"
joins = ["ring", "output"]
kind = "dog"
capacity_nm = 700
engage_slip_max_rpm = 20
teeth = 36
backlash_deg = 3.0
insertion_ms = 25

[[machine]]
name = "motor"
kind = "electric"
shaft = "sun"
max_torque_nm = 300
max_power_kw = 120
loss = { copper = 0.04 }
[[machine]]
name = "engine"
kind = "engine"
shaft = "crank"
idle_rpm = 900
max_rpm = 4000
torque_curve_rpm_nm = [[900, 100], [2000, 160], [4000, 150]]

[output]
shaft = "output"
final_drive = "41/13"
tyre_radius_m = 0.35

[vehicle]
mass_kg = 3000
road_load_f0_n = 300
road_load_f2_n_per_mps2 = 0.9
max_speed_kmh = 120

[battery]
energy_kwh = 50
nominal_v = 370
discharge_max_kw = 150
charge_max_kw = 90
charge_window = [0.2, 0.9]

[[arrangement]]
name = "low"
closed = ["brake"]
engine = "off"
roles = { motor = "drives" }
[[arrangement]]
name = "high"
closed = ["dog"]

[timing]
tick_ms = 1
"#;

/// A planted fault: replace `from` (which stands once) by `to`; then the first error must
/// underline `under` and contain `says`, and its fix must contain `fix`.
struct Case {
    from: &'static str,
    to: &'static str,
    under: &'static str,
    says: &'static str,
    fix: &'static str,
    severity: Severity,
}

const fn error(
    from: &'static str,
    to: &'static str,
    under: &'static str,
    says: &'static str,
    fix: &'static str,
) -> Case {
    Case { from, to, under, says, fix, severity: Severity::Error }
}

const fn warning(
    from: &'static str,
    to: &'static str,
    under: &'static str,
    says: &'static str,
    fix: &'static str,
) -> Case {
    Case { from, to, under, says, fix, severity: Severity::Warning }
}

#[rustfmt::skip]
static CASES: &[Case] = &[
    // Keys.
    error("sun_teeth = 30", "sun_teths = 30", "sun_teths", "unknown key `sun_teths` in [[planetary]]", "did you mean `sun_teeth`?"),
    error("max_rpm = 9000", "max_rad_s = 942.5", "max_rad_s", "unknown key `max_rad_s`", "`max_rpm = 9000.21`"),
    error("inertia_kg_m2 = 0.2\n", "inertia_gcm2 = 2e6\n", "inertia_gcm2", "unknown key", "`inertia_kg_m2 = 0.2`"),
    error("capacity_nm = 900", "capacity_knm = 0.9", "capacity_knm", "unknown key", "`capacity_nm = 900`"),
    error("fill_ms = 90", "fill_s = 0.09", "fill_s", "unknown key", "`fill_ms = 90`"),
    error("inertia_kg_m2 = 0.2\n", "inertia = 0.2\n", "inertia", "unknown key", "did you mean `inertia_kg_m2`? The unit is the last part"),
    error("mass_kg = 3000", "mass_t = \"3\"", "mass_t", "unknown key", "did you mean `mass_kg`? Multiply the value by 1000"),
    error("tick_ms = 1", "mass_kg = 1", "mass_kg", "unknown key `mass_kg` in [timing]", "`mass_kg` is a key of [vehicle]: move it there"),
    error("tick_ms = 1", "colour = 1", "colour", "unknown key `colour`", "the keys of [timing] are tick_ms,"),
    error("format = 1", "format = 1\nlocks = 2", "locks", "unknown key `locks` at the top of the file", "did you mean the table [[lock]]?"),
    error("[timing]", "[timming]", "timming", "unknown table `timming`", "did you mean [timing]?"),
    error("[timing]", "[wheels]", "wheels", "unknown table `wheels`", "the tables of this file are [[shaft]],"),
    error("fill_ms = 90", "teeth = 36", "teeth", "`teeth` belongs to a lock of kind dog, but this one is of kind friction", "kind = \"dog\""),
    error("max_power_kw = 120", "idle_rpm = 900", "idle_rpm", "`idle_rpm` belongs to a machine of kind engine", "kind = \"engine\""),
    error("loss = { copper = 0.04 }", "loss = { coper = 0.04 }", "coper", "unknown key `coper` in the table `loss`", "did you mean `copper`?"),
    error("loss = { copper = 0.04 }", "loss = 0.04", "0.04", "`loss` must be a table in braces", "loss = { constant = ..., }"),
    error("sun_teeth = 30\n", "", "[[planetary]]", "this [[planetary]] lacks the key `sun_teeth`", "add sun_teeth = 30 (Teeth of the sun)"),
    error("idle_rpm = 900\n", "", "[[machine]]", "lacks the key `idle_rpm`", "add idle_rpm = 950"),
    error("kind = \"friction\"\n", "", "[[lock]]", "lacks the key `kind`", "add kind ="),
    error("name = \"good\"\n", "", "", "the file lacks the key `name`", "add name ="),
    error("format = 1\n", "", "", "the file lacks the key `format`", "add format = 1"),
    error("format = 1\n", "format = 2\n", "2", "format 2 is not known; this program reads format 1", "write format = 1"),
    error("format = 1\n", "format = \"1\"\n", "\"1\"", "`format` must be", "without quotes: format = 1"),
    // Types.
    error("max_rpm = 9000", "max_rpm = \"9000\"", "\"9000\"", "`max_rpm` must be a number", "without quotes: max_rpm = 9000"),
    error("max_rpm = 9000", "max_rpm = \"9000 rpm\"", "\"9000 rpm\"", "but this is text", "write the number alone, in rpm: max_rpm = 9000"),
    error("max_rpm = 9000", "max_rpm = true", "true", "but this is true or false", "max_rpm = 6000"),
    error("max_rpm = 9000", "max_rpm = [9000]", "[9000]", "but this is a list", "max_rpm = 6000"),
    error("max_rpm = 9000", "max_rpm = 2024-01-01", "2024-01-01", "but this is a date", "max_rpm = 6000"),
    error("max_rpm = 9000", "max_rpm = { a = 1 }", "{ a = 1 }", "but this is a table in braces", "max_rpm = 6000"),
    error("sun_teeth = 30", "sun_teeth = 30.5", "30.5", "`sun_teeth` must be a whole number", "sun_teeth = 30"),
    error("tick_ms = 1", "tick_ms = \"fast\"", "\"fast\"", "but this is text", "tick_ms = 1"),
    error("name = \"dog\"", "name = 7", "7", "`name` must be a name in quotes", "put it in quotes"),
    error("fill_ms = 90", "switch = \"yes\"", "\"yes\"", "`switch` must be true or false", "write true or false, without quotes"),
    error("joins = [\"ring\", \"output\"]", "joins = \"ring\"", "\"ring\"", "`joins` must be two names", "joins ="),
    error("joins = [\"ring\", \"output\"]", "joins = [\"ring\"]", "[\"ring\"]", "must name two sides, but this names 1", "two shafts for a clutch"),
    error("closed = [\"dog\"]", "closed = \"dog\"", "\"dog\"", "must be a list of lock names", "closed = [\"name\", \"name\"]"),
    error("[timing]", "[[timing]]", "[[timing]]", "there is one timing at most, so its header has one bracket", "write [timing]"),
    error("[[planetary]]", "[planetary]", "[planetary]", "there may be several of `planetary`", "write [[planetary]]"),
    error("[timing]\ntick_ms = 1", "[battery.cell]\nsize = 1", "cell", "unknown key `cell` in [battery]", "the keys of [battery]"),
    error("[timing]\ntick_ms = 1", "[[arrangement]]\nname = \"x\"\nclosed = []\n[[timing]]\n[[timing]]", "[[timing]]", "[timing] may stand only once", "keep one"),
    error("about = \"Invented.\"", "costs = 5", "5", "`costs` must be a table", "write [costs] on a line of its own"),
    // Numbers.
    error("max_rpm = 9000", "max_rpm = -9000", "-9000", "`max_rpm` must be above 0, at most 200000 rpm", "without the minus sign: max_rpm = 9000"),
    error("max_rpm = 9000", "min_rpm = 9000", "9000", "`min_rpm` must be from -200000 to 0 rpm", "with a minus sign: min_rpm = -9000"),
    error("max_rpm = 9000", "max_rpm = 0", "0", "above 0", "its unit is rpm"),
    error("max_rpm = 9000", "max_rpm = nan", "nan", "must be a finite number", "write a number above 0"),
    error("max_rpm = 9000", "max_rpm = -inf", "-inf", "must be a finite number", "write a number above 0"),
    error("planets = 4", "mesh_efficiency = 98.5", "98.5", "must be above 0, at most 1", "for 98.5 % write mesh_efficiency = 0.985"),
    error("planets = 4", "planets = 99", "99", "`planets` must be a whole number from 1 to 12", "correct the value"),
    error("planets = 4", "planets = -1", "-1", "`planets` must be a whole number from 1 to 12", "correct the value"),
    error("ring_teeth = 66", "ring_teeth = 30", "30", "the ring has 30 teeth, not more than the sun's 30", "exchange or correct"),
    error("charge_window = [0.2, 0.9]", "charge_window = [0.9, 0.2]", "[0.9, 0.2]", "must rise", "the smaller number first"),
    error("charge_window = [0.2, 0.9]", "charge_window = [0.2, 90]", "90", "`charge_window` must be from 0 to 1", "for 90 % write charge_window = 0.9"),
    error("charge_window = [0.2, 0.9]", "charge_window = [0.2]", "[0.2]", "must have 2 numbers, but this has 1", "charge_window = [0.2, 0.9]"),
    error("[2000, 160]", "[700, 160]", "700", "must rise", "in rising order"),
    error("[2000, 160]", "[2000]", "[2000]", "must be a pair of numbers", "torque_curve_rpm_nm = [["),
    error("[[900, 100], [2000, 160], [4000, 150]]", "[]", "[]", "must have 1 to 200 pairs", "torque_curve_rpm_nm = [["),
    error("idle_rpm = 900", "idle_rpm = 4000", "4000", "`idle_rpm` must be below `max_rpm`", "exchange or correct"),
    error("idle_rpm = 900", "idle_rpm = 900\nstall_rpm = 950", "950", "`stall_rpm` is 950, not below `idle_rpm`", "write about 540"),
    error("tick_ms = 1", "tick_ms = 10\nsync_dwell_ms = 5", "5", "`sync_dwell_ms` is 5 ms, shorter than one tick", "at least 10"),
    error("backlash_deg = 3.0", "backlash_deg = 12", "12", "not below the pitch of 10.00 deg", "correct `backlash_deg` or `teeth`"),
    error("backlash_deg = 3.0", "offset_rpm = 20", "20", "`offset_rpm` must be below `engage_slip_max_rpm`", "write about 4"),
    error("engine = \"off\"", "min_speed_kmh = 50\nmax_speed_kmh = 20", "50", "`min_speed_kmh` must be below `max_speed_kmh`", "exchange or correct"),
    error("max_rpm = 9000", "max_rpm = 9000\ntested_rpm = 8000", "8000", "tested at less than its `max_rpm`, which is 9000", "lower `max_rpm`"),
    error("max_rpm = 9000", "tested_rpm = 8000", "tested_rpm", "a `tested_rpm` but no `max_rpm`", "highest allowed speed as well"),
    error("max_rpm = 9000", "max_rpm = 9000\ntested_s = 5", "tested_s", "no `tested_rpm` says how fast", "both, or neither"),
    error("name = \"sun\"\ninertia_kg_m2 = 0.05\nmax_rpm = 9000", "name = \"sun\"\nmin_rpm = -100", "min_rpm", "a `min_rpm` but no `max_rpm`", "both limits, or neither"),
    // Ratios.
    error("ratio = \"-23/40\"", "ratio = \"pi\"", "\"pi\"", "`pi` is not a rational number", "\"41/13\""),
    error("ratio = \"-23/40\"", "ratio = \"1.5:1\"", "\"1.5:1\"", "not a rational number", "quotient of whole numbers"),
    error("ratio = \"-23/40\"", "ratio = \"2/0\"", "\"2/0\"", "divides by zero", "tooth counts"),
    error("ratio = \"-23/40\"", "ratio = 0", "0", "`ratio` must be from -1000 to 1000, not 0", "correct the ratio"),
    error("ratio = \"-23/40\"", "ratio = \"99999999999999999999/7\"", "\"99999999999999999999/7\"", "not a rational number", "tooth counts"),
    error("ratio = \"-23/40\"", "ratio = [1, 2]", "[1, 2]", "but this is a list", "ratio = \"-23/40\""),
    error("final_drive = \"41/13\"", "final_drive = \"-41/13\"", "\"-41/13\"", "`final_drive` must be above 0", "correct the ratio"),
    error("ratio = \"-23/40\"", "ratio = \"-23/40\"\na_teeth = 40", "a_teeth", "`a_teeth` and `ratio` cannot both be given", "not both"),
    error("ratio = \"-23/40\"", "a_teeth = 40", "a_teeth", "`a_teeth` but not `b_teeth`", "add b_teeth"),
    error("ratio = \"-23/40\"\n", "", "[[gear_pair]]", "neither `ratio` nor tooth counts", "add ratio = \"-23/40\""),
    error("ratio = \"-23/40\"", "ratio = \"-23/40\"\nmesh = \"internal\"", "mesh", "`mesh` and `ratio` cannot both", "not both"),
    // Names.
    error("ring = \"ring\"", "ring = \"rign\"", "\"rign\"", "there is no shaft named `rign`", "did you mean \"ring\"?"),
    error("ring = \"ring\"", "ring = \"motor\"", "\"motor\"", "there is no shaft named `motor`", "\"motor\" is a machine; name one of sun, ring,"),
    error("ring = \"ring\"", "ring = \"gubbins\"", "\"gubbins\"", "there is no shaft named `gubbins`", "or add the shaft"),
    error("closed = [\"dog\"]", "closed = [\"dig\"]", "\"dig\"", "there is no lock named `dig`", "did you mean \"dog\"?"),
    error("closed = [\"dog\"]", "closed = [\"dog\", \"dog\"]", "\"dog\"", "stands twice in this list", "remove one"),
    error("roles = { motor = \"drives\" }", "roles = { moter = \"drives\" }", "moter", "there is no machine named `moter`", "did you mean \"motor\"?"),
    error("roles = { motor = \"drives\" }", "roles = { motor = \"drive\" }", "\"drive\"", "`drive` is not a word of `roles`", "did you mean \"drives\"?"),
    error("roles = { motor = \"drives\" }", "roles = [\"motor\"]", "[\"motor\"]", "`roles` must be a table in braces", "write a table in braces"),
    error("kind = \"friction\"", "kind = \"frictoin\"", "\"frictoin\"", "`frictoin` is not a word of `kind`", "did you mean \"friction\"?"),
    error("kind = \"friction\"", "kind = \"magnetic\"", "\"magnetic\"", "`magnetic` is not a word of `kind`", "write one of friction and dog"),
    error("joins = [\"ring\", \"output\"]", "joins = [\"ring\", \"ring\"]", "[\"ring\", \"ring\"]", "both sides of this lock are the same shaft", "two different sides"),
    error("joins = [\"ring\", \"output\"]", "joins = [\"case\", \"case\"]", "[\"case\", \"case\"]", "both sides of this lock are the case", "two different sides"),
    error("[[machine]]\nname = \"motor\"", "[[lock]]\nname = \"twin\"\njoins = [\"output\", \"ring\"]\nkind = \"dog\"\n[[machine]]\nname = \"motor\"", "[\"output\", \"ring\"]", "a second dog lock joins the same sides; the first is in line 46", "correct one"),
    error("carrier = \"output\"", "carrier = \"sun\"", "\"sun\"", "`carrier` is the same shaft as `sun`", "three different shafts"),
    error("b = \"ring\"", "b = \"crank\"", "\"crank\"", "`a` and `b` are the same shaft", "two different shafts"),
    error("[[lock]]\nname = \"brake\"", "[[gear_pair]]\nname = \"again\"\na = \"ring\"\nb = \"crank\"\nratio = 2\n\n[[lock]]\nname = \"brake\"", "[[gear_pair]]", "a second gear pair ties these shafts; the first is in line 31", "remove one"),
    error("name = \"engine\"", "name = \"motor\"", "\"motor\"", "a second machine is named `motor`; the first is in line 55", "its own `name`"),
    error("name = \"high\"", "name = \"low\"", "\"low\"", "a second arrangement is named `low`", "its own `name`"),
    error("name = \"high\"", "name = \"\"", "\"\"", "the name is empty", "use letters, digits"),
    error("name = \"high\"", "name = \"top gear\"", "\"top gear\"", "has the character ' '", "use letters, digits"),
    error("name = \"high\"", "name = \"h\u{f6}he\"", "\"h\u{f6}he\"", "has the character '\u{f6}'", "use letters, digits"),
    error("name = \"high\"", "name = \"2nd\"", "\"2nd\"", "does not begin with a letter", "begin with a letter"),
    error("name = \"high\"", "name = \"a-name-that-goes-on-and-on-and-on-and-on\"", "\"a-name-that-goes-on-and-on-and-on-and-on\"", "more than 32 characters", "shorter"),
    error("name = \"high\"", "name = \"case\"", "\"case\"", "\"case\" is the housing", "another name"),
    error("closed = [\"dog\"]", "closed = [\"brake\"]\nengine = \"off\"", "[\"brake\"]", "a second arrangement with the same closed locks and engine use; the first is in line 89", "remove one"),
    error("kind = \"electric\"\nshaft = \"sun\"\nmax_torque_nm = 300\nmax_power_kw = 120\nloss = { copper = 0.04 }", "kind = \"engine\"\nshaft = \"sun\"\nidle_rpm = 900\nmax_rpm = 4000", "\"engine\"", "a second engine; the first is in line 56", "one engine at most"),
    error("kind = \"engine\"\nshaft = \"crank\"\nidle_rpm = 900\nmax_rpm = 4000\ntorque_curve_rpm_nm = [[900, 100], [2000, 160], [4000, 150]]", "kind = \"electric\"\nshaft = \"crank\"\n[[arrangement]]\nname = \"fired\"\nclosed = []\nengine = \"on\"", "\"on\"", "runs the engine, but no machine is an engine", "kind = \"engine\""),
    // Syntax.
    error("max_rpm = 9000", "max_rpm 9000", "", "this is not TOML: key with no value", "write key = value"),
    error("name = \"sun\"", "name = sun", "sun", "this is not TOML: string values must be quoted", "put text in quotes"),
    error("max_rpm = 9000", "max_rpm = 9000\nmax_rpm = 8000", "max_rpm", "`max_rpm` is already given in this table", "put its header such as [[shaft]]"),
    error("[[planetary]]", "[[planetary]", "", "this is not TOML: unclosed array table", "[[shaft]] has two brackets"),
    error("closed = [\"dog\"]", "closed = [\"dog\"", "", "a list that begins above is not closed", "the [ above that has no ]"),
    error("max_rpm = 9000", "max_rpm = 0x", "", "this is not TOML", "the number in plain digits"),
    error("name = \"high\"", "name = \"high", "", "this is not TOML", "same quote"),
    error("max_rpm = 9000", "max_rpm =", "", "this is not TOML", "write a value after ="),
    // Warnings.
    warning("ratio = \"-23/40\"", "ratio = \"3.154\"", "\"3.154\"", "this decimal may be 41/13, rounded", "ratio = \"41/13\""),
    warning("planets = 4", "planets = 5", "66", "5 planets cannot be spaced equally: (sun + ring) / planets = 96 / 5", "`planets`"),
    warning("ring_teeth = 66\nplanets = 4", "ring_teeth = 69\nplanets = 3", "69", "(69 - 30) / 2 teeth, which is not a whole number", "even or both odd"),
    warning("planets = 4", "planets = 8", "8", "neighbouring planets touch", "fewer planets"),
    warning("planets = 4", "planets = 5\nplanet = \"double\"", "66", "5 planet pairs cannot be spaced equally", "`planets`"),
    warning("engage_slip_max_rpm = 20", "engage_slip_max_rpm = 30", "30", "pass 3 deg of backlash before they are in", "at most 20.0 rpm"),
    warning("max_speed_kmh = 120", "max_speed_kmh = 250", "250", "at 250 km/h the output shaft turns at 5976 rpm, above its 5000 rpm", "final_drive"),
    warning("engine = \"off\"", "min_speed_kmh = 130", "130", "begins at 130 km/h, but the vehicle ends at 120", "can never be asked"),
    warning("idle_rpm = 900", "idle_rpm = 800", "[[900, 100], [2000, 160], [4000, 150]]", "the curve goes from 900 to 4000 rpm, but the engine runs from 800", "add the missing end"),
    warning("name = \"crank\"\ninertia_kg_m2 = 0.2\nmax_rpm = 4200", "name = \"crank\"\nmax_rpm = 3000", "4000", "the engine runs up to 4000 rpm, but its shaft only to 3000", "raise the shaft"),
    warning("[timing]", "[[sensor]]\nshaft = \"sun\"\nrange_rpm = 8000\n[timing]", "8000", "reads to 8000 rpm, but its shaft turns to 9000", "raise the range"),
    warning("[[planetary]]", "[[shaft]]\nname = \"lonely\"\n[[planetary]]", "\"lonely\"", "nothing is tied to the shaft `lonely`", "remove it"),
];

fn found(text: &str) -> Diagnostics {
    match driveline::parse("faulty.toml", text) {
        Ok(checked) => checked.warnings,
        Err(found) => found,
    }
}

#[test]
fn the_good_file_is_good() {
    assert!(found(GOOD).is_empty(), "{}", found(GOOD));
}

#[test]
fn each_planted_fault_is_found_told_and_mended() {
    let mut failed = String::new();
    for case in CASES {
        assert_eq!(GOOD.matches(case.from).count().min(1), 1, "{:?} stands in the file", case.from);
        let text = GOOD.replacen(case.from, case.to, 1);
        let found = found(&text);
        let list = found.sorted();
        let hit = list.iter().any(|d| {
            let under = d.span.clone().and_then(|s| text.get(s)).unwrap_or("");
            let at_start = case.under.is_empty() || under == case.under;
            let told = d.message.contains(case.says) && d.fix.contains(case.fix);
            d.severity == case.severity && at_start && told
        });
        if !hit {
            failed.push_str(&format!("planted {:?}\nexpected {:?}\n{found}\n", case.to, case.says));
        }
    }
    assert!(failed.is_empty(), "{failed}");
}

/// One planted fault gives one diagnostic, but for cases whose fault has two sides.
#[test]
fn one_fault_gives_one_diagnostic() {
    let mut failed = String::new();
    for case in CASES {
        let found = found(&GOOD.replacen(case.from, case.to, 1));
        let count = found.sorted().len();
        if count != 1 {
            failed.push_str(&format!("planted {:?}\n{found}\n", case.to));
        }
    }
    assert!(failed.is_empty(), "{failed}");
}

#[test]
fn the_wording_of_every_fault_is_as_reviewed() {
    let mut all = String::new();
    for case in CASES {
        all.push_str(&found(&GOOD.replacen(case.from, case.to, 1)).render(false));
        all.push('\n');
    }
    for line in all.lines() {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("snapshots/driveline-faults.txt");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        std::fs::write(&path, &all).expect("written");
    }
    let reviewed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(all == reviewed, "wording changed: review, then run with SLIPWARDEN_WRITE=1");
}

#[test]
fn too_many_parts_are_refused_at_the_first_that_is_too_many() {
    let line_of = |text: &str, header: &str, number: usize| {
        text.lines()
            .enumerate()
            .filter(|(_, l)| *l == header)
            .nth(number - 1)
            .map(|(i, _)| i + 1)
            .expect("so many")
    };
    let limits = [
        ("shaft", 16, "max_rpm = 100"),
        ("lock", 8, "joins = [\"ring\", \"case\"]\nkind = \"dog\""),
        ("machine", 4, "kind = \"electric\"\nshaft = \"sun\""),
        ("sensor", 8, "shaft = \"sun\""),
        ("arrangement", 16, "closed = []"),
    ];
    for (table, most, keys) in limits {
        let mut text = GOOD.to_string();
        let header = format!("[[{table}]]");
        for i in text.matches(&header).count()..most + 2 {
            text.push_str(&format!("{header}\nname = \"n{i}\"\n{keys}\n"));
        }
        let found = found(&text);
        let line = line_of(&text, &header, most + 1);
        let told = found.to_string();
        let expected = format!(
            "faulty.toml:{line}:1: error: this is {header} number {}; at most {most}",
            most + 1
        );
        let told = told.replace("\n    ", " ");
        assert!(told.contains(&expected), "{expected}\n{told}");
        assert!(told.contains("leave out 2 of them"), "{told}");
    }
}

#[test]
fn all_faults_are_told_at_once_and_in_order() {
    let mut text = GOOD.to_string();
    let planted = [
        ("max_rpm = 9000", "max_rpm = -9000"),
        ("ring = \"ring\"", "ring = \"rign\""),
        ("planets = 4", "planets 4"),
        ("kind = \"dog\"", "kind = \"dgo\""),
        ("max_power_kw = 120", "max_power_w = 120000"),
        ("final_drive = \"41/13\"", "final_drive = \"pi\""),
        ("mass_kg = 3000", "mass_kg = 3000\nmass_kg = 3000"),
        ("tick_ms = 1", "tick_ms = nan"),
    ];
    for (from, to) in planted {
        text = text.replacen(from, to, 1);
    }
    let found = found(&text);
    let lines: Vec<usize> = found
        .sorted()
        .iter()
        .filter_map(|d| d.span.clone().map(|s| found.line_column(s.start).0))
        .collect();
    assert_eq!(lines, [8, 25, 29, 47, 59, 71, 76, 98], "{found}");
    assert_eq!(found.error_count(), planted.len());
}

#[test]
fn colour_is_only_added_never_relied_on() {
    let found = found(&GOOD.replacen("max_rpm = 9000", "max_rpm = -1", 1));
    let plain = found.render(false);
    let colour = found.render(true);
    assert!(!plain.contains('\u{1b}'));
    assert!(colour.contains("\u{1b}[1;31merror:\u{1b}[0m"), "{colour}");
    let stripped = colour.replace("\u{1b}[1;31m", "").replace("\u{1b}[0m", "");
    assert_eq!(stripped, plain);
}

/// What seems to be missing may stand in a line that could not be read: then it is not told.
#[test]
fn nothing_is_called_missing_that_stands_in_an_unreadable_line() {
    let one = |from: &str, to: &str| found(&GOOD.replacen(from, to, 1)).error_count();
    assert_eq!(one("name = \"ring\"", "name = ring"), 1, "three parts name the ring");
    assert_eq!(one("[[planetary]]", "[[planetary]"), 1, "its keys do not fall to the shaft");
    assert_eq!(one("idle_rpm = 900", "idle_rpm 900"), 1, "a key that must be given");
    assert_eq!(one("[output]", "[output"), 1, "a table that must be given");
}
