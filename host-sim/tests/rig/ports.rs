//! Every way to a board tried for real, with QEMU's serial port at the other end: TCP, unix socket,
//! and a terminal device as a serial line. Each is cut in the middle and comes back.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use host_sim::drive::closed_loop::Run;
use host_sim::rig::Address;
use host_sim::rig::command::own_hello;
use host_sim::rig::link::Link;
use host_sim::rig::lockstep::Lockstep;
use host_sim::rig::real_time::{Pace, drive};
use supervisor::io::MachineOrder;
use supervisor::link::message::Call;

use crate::images::{Demo, image};

/// An emulator that goes when it is dropped.
struct Emulator(Child);

impl Emulator {
    /// With this first serial port; its events go nowhere.
    fn new(serial: &str) -> Emulator {
        let child = Command::new("qemu-system-arm")
            .args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"])
            .args(["-semihosting-config", "enable=on,target=native"])
            .arg("-kernel")
            .arg(image("uart", "release", "shuttle"))
            .args(["-serial", serial, "-serial", "null"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("QEMU starts");
        Emulator(child)
    }

    /// The terminal device that QEMU made for `-serial pty`.
    fn terminal(&mut self) -> PathBuf {
        let out = self.0.stdout.take().expect("piped");
        for line in BufReader::new(out).lines() {
            let line = line.expect("a line");
            if let Some(path) = line.split_whitespace().find(|word| word.starts_with("/dev/")) {
                return path.into();
            }
        }
        panic!("QEMU named no terminal");
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("its address").port()
}

/// Open a link, as often as it takes an emulator to be there.
fn open(demo: &Demo, address: &Address) -> Link {
    let begun = Instant::now();
    loop {
        match Link::open(address, own_hello(&demo.table.table()), None) {
            Ok(link) => return link,
            Err(error) if begun.elapsed() > Duration::from_secs(60) => panic!("{error}"),
            Err(_) => std::thread::sleep(Duration::from_millis(100)),
        }
    }
}

/// Ticks in lockstep, each equal to the supervisor here; `meanwhile` is called before each. How
/// often the board had begun anew.
fn lockstep(demo: &Demo, link: &mut Link, ticks: u32, mut meanwhile: impl FnMut(u32)) -> u32 {
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let setup = demo.setup("shuttle-tour");
    let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
    Lockstep::new(link).begin(&run, &table, 10_000).expect("the board begins");
    let mut anew = 0;
    for tick in 0..ticks {
        meanwhile(tick);
        let asked = run.begin_tick().expect("a long run");
        let call = Call { inputs: asked.inputs, called: true, ..Call::default() };
        let answered = link.exchange(tick, &call).expect("an answer");
        if answered.anew {
            anew += 1;
            run.board_began_anew();
        }
        assert_eq!(answered.answer.output(), run.own_output(), "tick {tick}");
        run.finish_tick(answered.answer.output());
    }
    anew
}

/// A TCP connection that passes bytes on until it is cut.
struct Bridge {
    port: u16,
    cut: Arc<AtomicBool>,
}

impl Bridge {
    fn to(board: u16) -> Bridge {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("its address").port();
        let cut = Arc::new(AtomicBool::new(false));
        let is_cut = Arc::clone(&cut);
        std::thread::spawn(move || {
            for near in listener.incoming() {
                let Ok(near) = near else { return };
                let Ok(far) = TcpStream::connect(("127.0.0.1", board)) else { continue };
                if is_cut.load(Ordering::SeqCst) {
                    continue;
                }
                let both =
                    [(near.try_clone(), far.try_clone()), (far.try_clone(), near.try_clone())];
                for (from, to) in both {
                    let (Ok(from), Ok(to)) = (from, to) else { continue };
                    let is_cut = Arc::clone(&is_cut);
                    std::thread::spawn(move || pass(from, to, &is_cut));
                }
            }
        });
        Bridge { port, cut }
    }
}

/// Bytes from one to the other until the bridge is cut or an end is closed; then both are.
fn pass(mut from: TcpStream, mut to: TcpStream, cut: &AtomicBool) {
    let _ = from.set_read_timeout(Some(Duration::from_millis(5)));
    let mut bytes = [0; 1024];
    while !cut.load(Ordering::SeqCst) {
        match from.read(&mut bytes) {
            Ok(0) => break,
            Ok(count) if to.write_all(&bytes[..count]).is_err() => break,
            Ok(_) => {}
            Err(e)
                if matches!(
                    e.kind(),
                    std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
                ) => {}
            Err(_) => break,
        }
    }
    let _ = from.shutdown(std::net::Shutdown::Both);
    let _ = to.shutdown(std::net::Shutdown::Both);
}

/// A cut in the middle of a run: the same board goes on, no tick is made twice or lost.
#[test]
fn a_board_behind_tcp_survives_a_cut() {
    let demo = Demo::new("shuttle");
    let board = free_port();
    let _emulator = Emulator::new(&format!("tcp:127.0.0.1:{board},server=on,wait=off"));
    let bridge = Bridge::to(board);
    let mut link = open(&demo, &Address::Tcp(format!("127.0.0.1:{}", bridge.port)));
    let anew = lockstep(&demo, &mut link, 600, |tick| {
        // Long enough for both ends of the bridge to see it.
        if tick == 300 {
            bridge.cut.store(true, Ordering::SeqCst);
            std::thread::sleep(Duration::from_millis(50));
            bridge.cut.store(false, Ordering::SeqCst);
        }
    });
    assert_eq!(anew, 0, "the board did not begin anew");
    assert!(link.events.reopened >= 1, "{:?}", link.events);
}

#[test]
fn a_board_behind_a_unix_socket_is_reached() {
    let demo = Demo::new("shuttle");
    let name = format!("slipwarden-port-{}", std::process::id());
    let path = std::env::temp_dir().join(name);
    let _ = std::fs::remove_file(&path);
    let _emulator = Emulator::new(&format!("unix:{},server=on,wait=off", path.display()));
    let mut link = open(&demo, &Address::Unix(path.clone()));
    assert_eq!(lockstep(&demo, &mut link, 300, |_| {}), 0);
    // Another host takes over where this one leaves.
    drop(link);
    let mut link = open(&demo, &Address::Unix(path.clone()));
    assert_eq!(lockstep(&demo, &mut link, 300, |_| {}), 0);
    let _ = std::fs::remove_file(&path);
}

/// A terminal device, set up by `stty`, as a serial adapter is. The board is pulled out and put in
/// again under the same name: the run goes on with a board that knows nothing.
#[test]
fn a_board_behind_a_serial_line_survives_being_pulled_out() {
    let demo = Demo::new("shuttle");
    let name = Path::new(env!("CARGO_TARGET_TMPDIR")).join("serial-line");
    let plug = |emulator: &mut Emulator| {
        let _ = std::fs::remove_file(&name);
        std::os::unix::fs::symlink(emulator.terminal(), &name).expect("a name");
    };
    let mut emulator = Some(Emulator::new("pty"));
    plug(emulator.as_mut().expect("plugged"));
    let mut link = open(&demo, &Address::Serial(name.clone(), 115_200));
    let anew = lockstep(&demo, &mut link, 600, |tick| {
        if tick == 300 {
            drop(emulator.take());
            let mut fresh = Emulator::new("pty");
            plug(&mut fresh);
            emulator = Some(fresh);
        }
    });
    assert_eq!(anew, 1, "the board was another one");
    assert!(link.events.reopened >= 1, "{:?}", link.events);
    assert!(emulator.is_some());
}

/// In real time the plant goes on while the way is cut, without torque after the stated time, and
/// answers come again afterwards. Nothing that was recorded is lost: every tick is there.
#[test]
fn a_cut_in_real_time_is_safe_and_heals() {
    let demo = Demo::new("shuttle");
    let board = free_port();
    let _emulator = Emulator::new(&format!("tcp:127.0.0.1:{board},server=on,wait=off"));
    let bridge = Bridge::to(board);
    let mut link = open(&demo, &Address::Tcp(format!("127.0.0.1:{}", bridge.port)));
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let mut setup = demo.setup("shuttle-tour");
    setup.duration_s = 8.0;
    let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
    let pace = Pace { every: 20, lost_ticks: 300 };
    let (mut tick, mut off, cut) = (0u32, Vec::new(), Arc::clone(&bridge.cut));
    let told = drive(&mut link, &mut run, &table, pace, |record| {
        match tick {
            2000 => cut.store(true, Ordering::SeqCst),
            3500 => cut.store(false, Ordering::SeqCst),
            _ => {}
        }
        off.push(record.orders.machines == [MachineOrder::Off; 4]);
        tick += 1;
    })
    .expect("it goes to its end");
    assert_eq!((told.ticks, tick), (8000, 8000), "every tick is there");
    assert!(told.losses >= 1 && told.back >= 1, "{} {}", told.losses, told.back);
    assert!(link.events.reopened >= 1, "{:?}", link.events);
    assert_eq!(told.begun_anew, 0, "the same board goes on");
    // From 300 ticks after the cut (and what was under way) until it was mended, no torque.
    assert!(off[2350..3500].iter().all(|off| *off));
    assert!(off.iter().filter(|off| **off).count() as u64 >= told.lost);
}
