//! The description of a unit, `modelDescription.xml`, as FMI 2.0 and 3.0 want it.

use super::source::Source;
use super::variable::{Kind, Role, UNITS, Value, Variable, Variables};
use super::xml::Element;

/// Name of the shared library in the archive, without its ending.
pub const IDENTIFIER: &str = "slipwarden";

/// Version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standard {
    /// FMI 2.0.
    Two,
    /// FMI 3.0.
    Three,
}

/// Number as XML Schema writes it; the shortest that reads back the same.
fn number(x: f64) -> String {
    format!("{x:?}")
}

fn word(yes: bool) -> &'static str {
    if yes { "true" } else { "false" }
}

/// The whole text.
pub fn description(standard: Standard, source: &Source, variables: &Variables) -> String {
    let (version, token) = match standard {
        Standard::Two => ("2.0", "guid"),
        Standard::Three => ("3.0", "instantiationToken"),
    };
    let d = &source.driveline;
    let mut head = Element::new("fmiModelDescription")
        .with("fmiVersion", version)
        .with("modelName", format!("{} {}", d.name, source.part.word()))
        .with(token, &source.token)
        .with("description", about(source))
        .with("version", format!("table {:08x}", source.table.hash))
        .with("generationTool", concat!("Slipwarden ", env!("CARGO_PKG_VERSION")))
        .with("variableNamingConvention", "flat");
    if standard == Standard::Two {
        head = head.with("numberOfEventIndicators", "0");
    }
    let inside = [
        co_simulation(standard, source),
        units(),
        types(standard, variables),
        Element::new("LogCategories").around(&log_category()),
        experiment(source),
        Element::new("ModelVariables").around(&listed(standard, variables)),
        structure(standard, variables),
    ];
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", head.around(&inside.concat()))
}

fn about(source: &Source) -> String {
    let half = match source.part {
        super::Part::Plant => "plant with drive controller",
        super::Part::Supervisor => "supervisor",
    };
    match &source.scenario {
        Some(scenario) => format!("{half}, driven by the scenario {}", scenario.name),
        None => half.to_owned(),
    }
}

fn co_simulation(standard: Standard, source: &Source) -> String {
    let all = Element::new("CoSimulation")
        .with("modelIdentifier", IDENTIFIER)
        .with("canHandleVariableCommunicationStepSize", "false");
    match standard {
        Standard::Two => all
            .with("canNotUseMemoryManagementFunctions", "true")
            .with("canGetAndSetFMUstate", "true")
            .with("canSerializeFMUstate", "false")
            .empty(),
        Standard::Three => all
            .with("fixedInternalStepSize", number(source.tick_s()))
            .with("canGetAndSetFMUState", "true")
            .with("canSerializeFMUState", "false")
            .empty(),
    }
}

fn units() -> String {
    let mut inside = String::new();
    for (name, powers, factor) in UNITS {
        let mut base = Element::new("BaseUnit");
        for (key, power) in ["kg", "m", "s", "rad"].iter().zip(powers) {
            if power != 0 {
                base = base.with(key, power.to_string());
            }
        }
        if factor != 1.0 {
            base = base.with("factor", number(factor));
        }
        inside += &Element::new("Unit").with("name", name).around(&base.empty());
    }
    Element::new("UnitDefinitions").around(&inside)
}

fn types(standard: Standard, variables: &Variables) -> String {
    let mut inside = String::new();
    for choice in &variables.choices {
        let items: String = choice
            .items
            .iter()
            .map(|(name, n)| {
                Element::new("Item").with("name", name).with("value", n.to_string()).empty()
            })
            .collect();
        inside += &match standard {
            Standard::Two => Element::new("SimpleType")
                .with("name", choice.name)
                .around(&Element::new("Enumeration").around(&items)),
            Standard::Three => {
                Element::new("EnumerationType").with("name", choice.name).around(&items)
            }
        };
    }
    Element::new("TypeDefinitions").around(&inside)
}

fn log_category() -> String {
    Element::new("Category").with("name", CATEGORY).with("description", "Calls that failed").empty()
}

/// The one category of messages.
const CATEGORY: &str = "logStatusError";

fn experiment(source: &Source) -> String {
    let told = source.scenario.as_ref();
    let stop_s = told.map_or(10.0, |scenario| scenario.setup.duration_s);
    Element::new("DefaultExperiment")
        .with("startTime", "0.0")
        .with("stopTime", number(stop_s))
        .with("stepSize", number(source.tick_s()))
        .empty()
}

fn listed(standard: Standard, variables: &Variables) -> String {
    variables
        .list
        .iter()
        .zip(0u32..)
        .map(|(variable, reference)| match standard {
            Standard::Two => two(variables, variable, reference),
            Standard::Three => three(variables, variable, reference),
        })
        .collect()
}

/// What both versions say of a variable: causality, variability, initial.
fn ways(variable: &Variable) -> (&'static str, &'static str, Option<&'static str>) {
    let real = matches!(variable.kind, Kind::Real(_));
    let moving = if real { "continuous" } else { "discrete" };
    match variable.role {
        Role::Time => ("independent", "continuous", None),
        Role::Parameter => ("parameter", "fixed", Some("exact")),
        Role::Input => ("input", moving, None),
        Role::Output => ("output", moving, Some("calculated")),
    }
}

/// The start value, where one must stand.
fn start(variable: &Variable) -> Option<String> {
    let stands = matches!(variable.role, Role::Parameter | Role::Input);
    stands.then(|| match &variable.start {
        Value::Real(x) => number(*x),
        Value::Whole(n) => n.to_string(),
        Value::Truth(yes) => word(*yes).to_owned(),
        Value::Text(text) => text.clone(),
    })
}

fn common(name: &'static str, variable: &Variable, reference: u32) -> Element {
    let (causality, variability, initial) = ways(variable);
    let element = Element::new(name)
        .with("name", &variable.name)
        .with("valueReference", reference.to_string())
        .with("description", &variable.about)
        .with("causality", causality)
        .with("variability", variability);
    match initial {
        Some(initial) => element.with("initial", initial),
        None => element,
    }
}

/// Unit or list of a variable.
fn typed(element: Element, variables: &Variables, kind: Kind) -> Element {
    match kind {
        Kind::Real(unit) => element.with("unit", unit),
        Kind::Choice(list) => {
            element.with("declaredType", variables.choices.get(list).map_or("", |c| c.name))
        }
        Kind::Whole | Kind::Truth | Kind::Text => element,
    }
}

fn two(variables: &Variables, variable: &Variable, reference: u32) -> String {
    let name = match variable.kind {
        Kind::Real(_) => "Real",
        Kind::Whole => "Integer",
        Kind::Truth => "Boolean",
        Kind::Text => "String",
        Kind::Choice(_) => "Enumeration",
    };
    let mut inside = typed(Element::new(name), variables, variable.kind);
    if let Some(start) = start(variable) {
        inside = inside.with("start", start);
    }
    common("ScalarVariable", variable, reference).around(&inside.empty())
}

fn three(variables: &Variables, variable: &Variable, reference: u32) -> String {
    let name = match variable.kind {
        Kind::Real(_) => "Float64",
        Kind::Whole => "Int32",
        Kind::Truth => "Boolean",
        Kind::Text => "String",
        Kind::Choice(_) => "Enumeration",
    };
    let element = typed(common(name, variable, reference), variables, variable.kind);
    match start(variable) {
        Some(start) if variable.kind == Kind::Text => {
            element.around(&Element::new("Start").with("value", start).empty())
        }
        Some(start) => element.with("start", start).empty(),
        None => element.empty(),
    }
}

/// Outputs, none of which depends on an input of the same instant: they change in steps only.
fn structure(standard: Standard, variables: &Variables) -> String {
    let outputs = || (0u32..).zip(&variables.list).filter(|(_, v)| v.role == Role::Output);
    let inside: String = match standard {
        Standard::Two => {
            let unknown = |at: u32| Element::new("Unknown").with("index", (at + 1).to_string());
            let now: String =
                outputs().map(|(at, _)| unknown(at).with("dependencies", "").empty()).collect();
            let first: String = outputs().map(|(at, _)| unknown(at).empty()).collect();
            Element::new("Outputs").around(&now) + &Element::new("InitialUnknowns").around(&first)
        }
        Standard::Three => {
            let of = |name, at: u32| Element::new(name).with("valueReference", at.to_string());
            let now = outputs().map(|(at, _)| of("Output", at).with("dependencies", "").empty());
            let first = outputs().map(|(at, _)| of("InitialUnknown", at).empty());
            now.chain(first).collect()
        }
    };
    Element::new("ModelStructure").around(&inside)
}
