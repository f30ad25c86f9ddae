//! Every table and key of the driveline file: the one place where they are listed.

use super::keys_machines::{MACHINE, SENSOR};
use super::keys_parts::{GEAR_PAIR, LOCK, PLANETARY, SHAFT};
use super::keys_use::{ARRANGEMENT, COSTS, TIMING};
use super::keys_vehicle::{BATTERY, OUTPUT, VEHICLE};
use super::spec::{FileSpec, Key, Literal, Purpose, Shape, TableSpec, Type};

/// The driveline file.
pub static DRIVELINE: FileSpec = FileSpec {
    title: "Driveline file",
    about: "Shafts joined by planetary sets and gear pairs, the brakes and clutches between them, \
        the machines, the output to the wheels, and the lock sets in which the driveline is meant \
        to run. Speeds are signed: positive moves the vehicle forward. The unit is the last part of \
        a key's name. Numbers may be written with or without decimals.",
    version: 1,
    root: &ROOT,
    tables: &[
        &SHAFT,
        &PLANETARY,
        &GEAR_PAIR,
        &LOCK,
        &MACHINE,
        &SENSOR,
        &OUTPUT,
        &VEHICLE,
        &BATTERY,
        &ARRANGEMENT,
        &COSTS,
        &TIMING,
    ],
};

static ROOT: TableSpec = TableSpec {
    name: "",
    shape: Shape::Root,
    need: Some(Purpose::Survey),
    doc: "Keys before the first table.",
    absent: "",
    keys: &[
        Key::new("format", Type::Version, "Version of the file format; this program reads 1.")
            .example("1"),
        Key::new("name", Type::Name, "Short name, used in names of files and of generated code.")
            .example("\"my-driveline\""),
        Key::new("about", Type::Text, "One sentence for a person.")
            .default(Literal::Word(""), "a description is a courtesy, not an input")
            .example("\"Invented driveline.\""),
    ],
};
