//! `energy`, `cycle` and `schedule` as a shell sees them.

use std::io::{BufRead, BufReader};
use std::process::Command;

use crate::program::{Folder, program, run};
use host_sim::driveline::demo;

/// Coarse, so that a run is short.
const COARSE: [&str; 4] = ["--columns", "4", "--rows", "4"];

#[test]
fn texts_fit_a_terminal_and_data_can_be_read() {
    let folder = Folder::new("energy");
    for args in [
        &["energy", "shuttle"][..],
        &["energy", "railcar"],
        &["energy", "axle"],
        &["schedule", "railcar"],
        &["cycle", "shuttle", "nedc"],
    ] {
        let ran = run(folder.path(), args);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{args:?}");
        let wide = ran.stdout.lines().find(|l| l.chars().count() > 80);
        assert_eq!(wide, None, "{args:?}");
        let again = run(folder.path(), args);
        assert_eq!(ran.stdout, again.stdout, "{args:?}: same inputs, same bytes");
    }
    let json = run(folder.path(), &[&["energy", "shuttle", "--json"], &COARSE[..]].concat());
    let value: serde_json::Value = serde_json::from_str(&json.stdout).expect("JSON");
    assert_eq!(value["energy"], 1);
    let csv = run(folder.path(), &[&["energy", "shuttle", "--csv"], &COARSE[..]].concat());
    assert!(csv.stdout.starts_with("mode,speed_kmh,force_n,"), "{}", csv.stdout);
    let svg = run(folder.path(), &[&["energy", "shuttle", "--svg", "pics"], &COARSE[..]].concat());
    assert_eq!(svg.code, 0);
    assert!(folder.path().join("pics/best-held.svg").exists());
}

#[test]
fn wrong_input_is_told_in_place() {
    let folder = Folder::new("energy-wrong");
    let with = |from: &str, to: &str| demo("shuttle").expect("a demo").replacen(from, to, 1);
    let map = with("max_power_kw = 135\n", "max_power_kw = 135\nloss_map = \"map.csv\"\n");
    folder.write("mapped.toml", map);
    folder.write("map.csv", "speed_rpm,torque_nm,loss_w\n0,0,1\n0,x,1\n");
    folder.write("bad.toml", with("idle_rpm = 950", "idle_rpm = -950"));
    folder.write("trace.csv", "time_s,speed_kmh\n0,0\n10,50\n9,50\n");
    folder.write("fast.csv", "time_s,speed_kmh\n0,0\n60,400\n");
    folder.write("notes", "a file");
    let cases: [(&[&str], &str); 10] = [
        (&["energy", "mapped.toml"], "map.csv:3:3: error:"),
        (&["energy", "bad.toml"], "bad.toml:"),
        (&["energy", "none.toml"], "there is no file"),
        (&["energy", "shuttle", "--speeds", "300"], "300 km/h"),
        (&["energy", "shuttle", "--slopes", "90"], "from -50 to 50"),
        (
            &["energy", "shuttle", "--columns", "2", "--rows", "2", "--svg", "notes"],
            "cannot be written",
        ),
        (&["cycle", "shuttle", "trace.csv"], "trace.csv:4:1: error:"),
        (&["cycle", "shuttle", "none"], "the built-in traces are nedc"),
        (&["cycle", "shuttle", "fast.csv"], "up to 400 km/h"),
        (&["schedule", "shuttle", "--price", "nan"], "a number from 0 to 20"),
    ];
    for (args, told) in cases {
        let ran = run(folder.path(), args);
        assert_eq!((ran.code, ran.stdout.as_str()), (2, ""), "{args:?}: {}", ran.stderr);
        assert!(ran.stderr.contains(told), "{args:?}: {}", ran.stderr);
    }
}

#[test]
fn a_good_map_is_read_beside_the_driveline_file() {
    let folder = Folder::new("energy-map");
    std::fs::create_dir(folder.path().join("sub")).expect("a folder");
    let text = demo("shuttle").expect("a demo").replacen(
        "max_power_kw = 135\n",
        "max_power_kw = 135\nloss_map = \"map.csv\"\n",
        1,
    );
    folder.write("sub/mapped.toml", text);
    let mut map = String::from("# measured\nspeed_rpm,torque_nm,efficiency\n");
    for rpm in [0, 3000, 9000] {
        for nm in [0, 150, 310] {
            map += &format!("{rpm},{nm},0.5\n");
        }
    }
    folder.write("sub/map.csv", map);
    let args =
        [&["energy", "sub/mapped.toml", "--speeds", "50", "--slopes", "0"], &COARSE[..]].concat();
    let ran = run(folder.path(), &args);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    // Half of what goes in is lost: the loss is what the shaft gives (23 Nm at 3771 rpm, 9.06 kW).
    assert!(ran.stdout.contains("traction 90"), "{}", ran.stdout);
}

/// A reader that has seen enough is no fault.
#[test]
fn a_closed_pipe_does_no_harm() {
    let folder = Folder::new("energy-pipe");
    let mut child = program(folder.path()).args(["energy", "shuttle"]).spawn().expect("it starts");
    let mut line = String::new();
    let mut out = BufReader::with_capacity(64, child.stdout.take().expect("piped"));
    out.read_line(&mut line).expect("a line");
    drop(out);
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

/// Ctrl-C leaves nothing that could be taken for a result: no text, no picture, exit code 3.
#[test]
fn an_interrupt_passes_no_part_off_as_the_whole() {
    let folder = Folder::new("energy-stop");
    let fine = ["--columns", "200", "--rows", "200", "--svg", "pics"];
    let energy = [&["energy", "shuttle"], &fine[..]].concat();
    let mut long = String::from("time_s,speed_kmh,slope_percent\n");
    for k in 0..3000 {
        long += &format!("{},{},{}\n", 30 * k, 40 + k % 50, k % 7 - 3);
    }
    folder.write("long.csv", long);
    let cycle =
        ["cycle", "shuttle", "long.csv", "--sustain", "--forward", "--json", "--svg", "pics"];
    for args in [&energy[..], &cycle] {
        let child = program(folder.path()).args(args).spawn().expect("it starts");
        std::thread::sleep(std::time::Duration::from_secs(2));
        let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
        assert!(kill.expect("kill starts").success());
        let out = child.wait_with_output().expect("it ends");
        let told = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.code(), Some(3), "{args:?}: {told}");
        assert!(out.stdout.is_empty(), "{args:?}");
        assert!(told.contains("stopped: an unfinished part is no result"), "{args:?}: {told}");
        assert!(!folder.path().join("pics").exists(), "{args:?}");
    }
}

/// With the charge brought back: what can be is told with what is left, and what cannot with its reason.
#[test]
fn a_cycle_that_brings_the_charge_back_says_what_is_left() {
    let folder = Folder::new("energy-sustain");
    folder.write("short.csv", "time_s,speed_kmh\n0,0\n15,50\n60,50\n80,90\n140,90\n165,0\n");
    for (driveline, words) in [
        ("shuttle", "no choice takes less than"),
        ("railcar", "the ideal supply's energy is what is brought back"),
        ("axle", "no engine: nothing on board brings back what is taken"),
    ] {
        let mut slow = String::from("time_s,speed_kmh\n0,0\n30,50\n90,50\n130,0\n");
        if driveline == "shuttle" {
            slow = std::fs::read_to_string(folder.path().join("short.csv")).expect("written");
        }
        folder.write("trace.csv", slow);
        let ran = run(folder.path(), &["cycle", driveline, "trace.csv", "--sustain", "--forward"]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""), "{driveline}");
        // Sentences break at spaces.
        let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(words), "{driveline}: {}", ran.stdout);
        assert!(text.contains("Where it goes, kJ"), "{driveline}: {}", ran.stdout);
        let wide = ran.stdout.lines().find(|l| l.chars().count() > 80);
        assert_eq!(wide, None, "{driveline}");
    }
}
