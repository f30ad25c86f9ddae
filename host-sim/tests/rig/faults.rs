//! Things that go wrong with a board: another table, a damaged one, a hang, a processor fault, a
//! lost supply, a dirty wire.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use host_sim::drive::closed_loop::Run;
use host_sim::rig::lockstep::Lockstep;
use host_sim::rig::real_time::{Pace, drive as drive_in_time};
use host_sim::rig::{RigError, Via};
use supervisor::link::message::Differs;

use crate::images::{Demo, drive, image};

#[test]
fn a_board_with_another_table_is_refused_in_words() {
    let demo = Demo::new("axle");
    let refused = demo.link(image("pipes", "release", "shuttle"), Via::Pipes).err();
    let error = refused.expect("it was taken");
    assert!(matches!(error, RigError::Refused(Differs::TableHash, _)), "{error}");
    let text = error.to_string();
    let own = format!("{:08x}", demo.table.table().hash);
    assert!(text.contains(&own) && text.contains("fix:"), "{text}");
}

#[test]
fn a_damaged_table_in_flash_is_refused() {
    let demo = Demo::new("shuttle");
    let damaged = image("pipes", "release", "shuttle,planted-table");
    let error = demo.link(damaged, Via::Pipes).err().expect("it was taken");
    assert!(matches!(error, RigError::Refused(Differs::TableDamaged, _)), "{error}");
}

/// Over the serial port: interrupts, queues, two contexts. Equal bit for bit, and junk between the
/// frames is counted by the board and changes nothing.
#[test]
fn a_dirty_serial_line_changes_nothing() {
    let demo = Demo::new("shuttle");
    let mut link = demo.link(image("uart", "release", "shuttle"), Via::Uart).expect("it greets");
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let setup = demo.setup("shuttle-tour");
    let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
    Lockstep::new(&mut link).begin(&run, &table, 1000).expect("the board begins");
    let mut bad = 0;
    for tick in 0..200u32 {
        if tick % 10 == 5 {
            link.port().send(&[9, 8, 7, 6, 5, 4, 3, 2, 1, tick as u8 | 1, 0]).expect("it is there");
            bad += 1;
        }
        let asked = run.begin_tick().expect("a long run");
        let call = supervisor::link::message::Call {
            inputs: asked.inputs,
            called: true,
            warm_reset: false,
            cold_reset: false,
        };
        let answered = link.exchange(tick, &call).expect("an answer");
        assert!(!answered.anew);
        assert_eq!(answered.answer.output(), run.own_output(), "tick {tick}");
        assert_eq!(answered.answer.bad_frames, bad, "tick {tick}");
        run.finish_tick(answered.answer.output());
    }
}

/// In real time the board ticks by itself; answers come, and the drive goes on to its end.
#[test]
fn a_run_in_real_time_is_answered() {
    let demo = Demo::new("shuttle");
    let mut link = demo.link(image("uart", "release", "shuttle"), Via::Uart).expect("it greets");
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let mut setup = demo.setup("shuttle-tour");
    setup.duration_s = 2.0;
    let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
    let pace = Pace { every: 20, lost_ticks: 2000 };
    let mut seen = 0u64;
    let told = drive_in_time(&mut link, &mut run, &table, pace, |_| seen += 1).expect("it begins");
    assert_eq!((told.ticks, seen, told.calls), (2000, 2000, 100));
    assert!(told.fresh > 0 && told.fresh <= told.calls, "{}", told.fresh);
    assert_eq!(told.delays.count(), told.fresh);
}

/// A board that dies in the middle of a run: the supply comes back, the run goes on with a
/// supervisor that knows nothing, and board and host stay equal.
#[test]
fn a_run_survives_a_board_that_dies() {
    let demo = Demo::new("shuttle");
    let mut link = demo.link(image("pipes", "release", "shuttle"), Via::Pipes).expect("it greets");
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let setup = demo.setup("shuttle-tour");
    let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
    Lockstep::new(&mut link).begin(&run, &table, 1000).expect("the board begins");
    for tick in 0..4000u32 {
        if tick == 2000 {
            link.port().qemu().expect("an emulator").kill();
        }
        let asked = run.begin_tick().expect("a long run");
        let call = supervisor::link::message::Call {
            inputs: asked.inputs,
            called: true,
            warm_reset: false,
            cold_reset: false,
        };
        let answered = link.exchange(tick, &call).expect("it comes back");
        assert_eq!(answered.anew, tick == 2000, "tick {tick}");
        if answered.anew {
            run.board_began_anew();
        }
        assert_eq!(answered.answer.output(), run.own_output(), "tick {tick}");
        run.finish_tick(answered.answer.output());
    }
    assert_eq!((link.events.reopened, link.events.begun_anew), (1, 1));
}

/// The tick hangs: the watchdog resets the board, which greets anew and goes on.
#[test]
fn a_board_that_hangs_is_reset_by_its_watchdog() {
    let demo = Demo::new("shuttle");
    let hanging = image("uart", "release", "shuttle,planted-hang");
    let mut link = demo.link(hanging, Via::Uart).expect("it greets");
    // It hangs 1000 ticks of its timer after each start.
    for _ in 0..40 {
        let mut board = Lockstep::new(&mut link);
        assert_eq!(drive(&demo, &mut board, &demo.setup("shuttle-tour"), 500), 500);
        assert!(board.mismatch.is_none());
        if link.events.begun_anew > 0 {
            break;
        }
    }
    assert!(link.events.begun_anew > 0, "it never hung");
}

/// A fault of the processor: every output is off, and says so by the exit code.
#[test]
fn a_fault_of_the_processor_ends_with_every_output_off() {
    let demo = Demo::new("shuttle");
    let faulty = image("uart", "release", "shuttle,planted-fault");
    let mut link = demo.link(faulty, Via::Uart).expect("it greets");
    let code = link.port().qemu().expect("an emulator").exit_code(Duration::from_secs(30));
    assert_eq!(code, Some(0x60));
    let events = link.port().qemu().expect("an emulator").events();
    assert!(!events.is_empty(), "events were sent before");
}

/// The program itself: cases of a campaign with the board's orders leave the folder that the same
/// campaign leaves without a board; a board that differs is told with a scenario to try again.
#[test]
fn the_command_runs_a_campaign_on_the_board() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("rig-campaign");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    let run = |file: &str, cases: &str, out: &str, more: &[&str]| {
        let ran = Command::new(env!("CARGO_BIN_EXE_slipwarden"))
            .current_dir(&folder)
            .args(["campaign", file, "--cases", cases, "--seed", "3", "--out", out])
            .args(more)
            .output()
            .expect("it runs");
        let text = String::from_utf8_lossy(&ran.stdout).into_owned();
        (ran.status.code(), text + &String::from_utf8_lossy(&ran.stderr))
    };
    let pipes = image("pipes", "release", "axle");
    let pipes = pipes.to_str().expect("a plain path");
    let (code, text) = run("axle", "5", "board", &["--rig", "--qemu", pipes]);
    assert!(matches!(code, Some(0 | 1)), "{text}");
    assert!(text.contains("equal bit for bit"), "{text}");
    let (host, _) = run("axle", "5", "host", &[]);
    assert_eq!(code, host);
    for file in ["campaign.json", "margins.csv", "share-0-of-1.results"] {
        let read = |out: &str| std::fs::read(folder.join(out).join(file)).expect("written");
        assert!(read("board") == read("host"), "{file} differs");
    }
    let (code, text) = run("axle", "5", "board", &["--rig", "--qemu", pipes]);
    assert!(code == Some(2) && text.contains("--resume"), "{text}");
    let planted = image("pipes", "release", "shuttle,planted-order");
    let planted = planted.to_str().expect("a plain path");
    let (code, text) = run("shuttle", "1", "differs", &["--rig", "--qemu", planted]);
    assert_eq!(code, Some(1), "{text}");
    let scenario = folder.join("differs/findings/mismatch-0.toml");
    assert!(scenario.exists() && text.contains("differ first at tick 1000"), "{text}");
    let out = run("axle", "5", "none", &["--rig", "--qemu", "no-such-image"]);
    assert_eq!(out.0, Some(2));
}

/// The program itself: a run with a capture, the capture played again, the judges' summary.
#[test]
fn the_command_captures_and_replays() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("rig-command");
    std::fs::create_dir_all(&folder).expect("a folder");
    let pipes = image("pipes", "release", "axle");
    let run = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_slipwarden"))
            .current_dir(&folder)
            .args(["rig", "axle"])
            .args(args)
            .arg("--qemu")
            .arg(&pipes)
            .output()
            .expect("it runs");
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        (out.status.code(), text, String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let (code, text, errors) = run(&["axle-shift", "--capture", "frames", "--trace", "trace.csv"]);
    assert_eq!(code, Some(0), "{text}{errors}");
    assert!(text.contains("equal bit for bit"), "{text}");
    let trace = std::fs::read_to_string(folder.join("trace.csv")).expect("a trace");
    let frames = std::fs::read_to_string(folder.join("frames")).expect("a capture");
    let ticks = trace.lines().count() - 1;
    // A hello or two, one beginning, one end, and a call for every tick.
    let sent = frames.lines().filter(|l| l.contains('>')).count();
    assert!((ticks + 2..ticks + 6).contains(&sent), "{ticks} {sent}");
    let (code, text, errors) = run(&["--replay", "frames"]);
    assert_eq!(code, Some(0), "{text}{errors}");
    assert!(text.contains("each answered as captured"), "{text}");
    let (code, _, errors) = run(&["--replay", "no-such-file"]);
    assert_eq!(code, Some(2), "{errors}");
    let (code, ..) = run(&["no-such-scenario"]);
    assert_eq!(code, Some(2));
}
