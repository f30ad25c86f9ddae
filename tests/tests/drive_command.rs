//! The drive command: what it writes, and its exit codes.

use std::path::PathBuf;

use host_sim::drive::command::{Options, run};

/// A folder of its own for one test, removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("slipwarden-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Folder(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    fn write(&self, name: &str, text: &str) -> String {
        let path = self.file(name);
        std::fs::write(&path, text).expect("a temporary file");
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn options() -> Options {
    Options { every: 1, seed: Some(1), ..Options::default() }
}

const SHORT: &str = "format = 1\nname = \"short\"\nduration_s = 3\nstart_speed_kmh = 30\n\
    start_arrangement = \"single-electric\"\n[[request]]\nt_s = 1\narrangement = \"dual-electric\"\n";

#[test]
fn it_writes_what_is_asked_and_the_same_bytes_twice() {
    let folder = Folder::new("writes");
    let scenario = folder.write("short.toml", SHORT);
    let outputs = |n: u32| Options {
        trace: Some(folder.file(&format!("{n}.csv"))),
        svg: Some(folder.file(&format!("{n}.svg"))),
        json: Some(folder.file(&format!("{n}.json"))),
        mdf: None,
        every: 5,
        seed: Some(9),
    };
    assert_eq!(run("shuttle", &scenario, &outputs(1)), 0);
    assert_eq!(run("shuttle", &scenario, &outputs(2)), 0);
    let read = |name: &str| std::fs::read_to_string(folder.file(name)).expect("it was written");
    for kind in ["csv", "svg", "json"] {
        assert_eq!(read(&format!("1.{kind}")), read(&format!("2.{kind}")), "{kind}");
    }
    assert_eq!(read("1.csv").lines().count(), 601);
    let value: serde_json::Value = serde_json::from_str(&read("1.json")).expect("it is JSON");
    assert_eq!(value["seed"], 9);
    assert_eq!(value["ends_in"], "dual-electric");
    assert_eq!(value["transitions"][0]["steps"][0], "close ring-clutch");
    assert!(read("1.svg").starts_with("<svg "));
}

#[test]
fn a_finding_gives_exit_code_1() {
    // Both sensors of the crankshaft read too little by the same share: no relation between
    // sensors can show that, and the engine's clutch closes at speed.
    let folder = Folder::new("finding");
    let text = "format = 1\nname = \"bad\"\nduration_s = 8\nstart_speed_kmh = 30\n\
        start_arrangement = \"single-electric\"\n[[request]]\nt_s = 0.5\narrangement = \"series\"\n\
        [[fault]]\nfrom_s = 0.5\nkind = \"sensor-scale\"\ntarget = \"crank\"\nvalue = 0.7\n\
        [[fault]]\nfrom_s = 0.5\nkind = \"sensor-scale\"\ntarget = \"crank-second\"\nvalue = 0.7\n";
    let scenario = folder.write("bad.toml", text);
    assert_eq!(run("shuttle", &scenario, &options()), 1);
}

#[test]
fn misuse_gives_exit_code_2_and_drives_nothing() {
    let folder = Folder::new("misuse");
    let scenario = folder.write("short.toml", SHORT);
    assert_eq!(run("no-such-file.toml", &scenario, &options()), 2);
    assert_eq!(run("shuttle", "no-such-scenario", &options()), 2);
    assert_eq!(run("axle", &scenario, &options()), 2, "names of another driveline");
    let lost = |trace: Option<String>, svg: Option<String>| Options { trace, svg, ..options() };
    let nowhere = folder.file("no/such/folder/out.csv");
    assert_eq!(run("shuttle", &scenario, &lost(Some(nowhere.clone()), None)), 2);
    assert_eq!(run("shuttle", &scenario, &lost(None, Some(nowhere.clone()))), 2);
    assert!(!std::path::Path::new(&nowhere).exists());
    let both = lost(Some("-".into()), Some("-".into()));
    assert_eq!(run("shuttle", &scenario, &both), 2);
    let a_folder = lost(Some(folder.0.display().to_string()), None);
    assert_eq!(run("shuttle", &scenario, &a_folder), 2);
}

#[test]
fn a_start_that_is_not_possible_is_misuse() {
    let folder = Folder::new("start");
    let fast = SHORT.replace("start_speed_kmh = 30", "start_speed_kmh = 124");
    let scenario = folder.write("fast.toml", &fast);
    assert_eq!(run("shuttle", &scenario, &options()), 2);
}
