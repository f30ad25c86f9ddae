//! QEMU with an image, as a child that never outlives us.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, mpsc};
use std::time::{Duration, Instant};

use super::address::Via;
use super::error::RigError;

const PROGRAM: &str = "qemu-system-arm";
/// How long it may take to come up.
const START: Duration = Duration::from_secs(20);
/// After this long without a byte to it, or an answer from it, it counts as hanging.
const HANGS: Duration = Duration::from_secs(60);

/// A running emulator.
pub struct Qemu {
    child: Arc<Mutex<Child>>,
    folder: PathBuf,
    life: Arc<AtomicU64>,
    over: Arc<AtomicBool>,
}

/// What leads to it.
pub(super) enum Wires {
    /// To it, from it.
    Pipes(File, File),
    /// Its serial port.
    Socket(UnixStream),
}

/// A folder of our own, for pipes and sockets.
fn folder() -> io::Result<PathBuf> {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("slipwarden-{}-{number}", std::process::id()));
    fs::create_dir(&path)?;
    Ok(path)
}

fn machine(image: &Path, folder: &Path) -> io::Result<Command> {
    let mut command = Command::new(PROGRAM);
    command
        .args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"])
        .args(["-semihosting-config", "enable=on,target=native"])
        .arg("-kernel")
        .arg(fs::canonicalize(image)?)
        .current_dir(folder)
        .stdin(Stdio::null());
    Ok(command)
}

impl Qemu {
    /// Start it and wait until it is connected.
    pub(super) fn start(image: &Path, via: Via) -> Result<(Qemu, Wires), RigError> {
        let why = |error: io::Error| match error.kind() {
            io::ErrorKind::NotFound if image.exists() => RigError::Open(format!(
                "{PROGRAM} is not there\n    fix: install it (Debian: qemu-system-arm)"
            )),
            _ => RigError::Open(format!("{} cannot be started: {error}", image.display())),
        };
        let folder = folder().map_err(why)?;
        let started = match via {
            Via::Pipes => by_pipes(image, &folder, &[]),
            Via::Counted => by_pipes(image, &folder, &["-icount", "shift=10"]),
            Via::Uart => by_socket(image, &folder),
        };
        let (child, wires) = started.map_err(|error| {
            let _ = fs::remove_dir_all(&folder);
            why(error)
        })?;
        let child = Arc::new(Mutex::new(child));
        let (life, over) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicBool::new(false)));
        watch(Arc::clone(&child), Arc::clone(&life), Arc::clone(&over));
        Ok((Qemu { child, folder, life, over }, wires))
    }

    /// It was heard or spoken to.
    pub(super) fn is_alive(&self) {
        self.life.fetch_add(1, Ordering::Relaxed);
    }

    /// Its exit code, once it has ended; waits no longer than `limit`.
    pub fn exit_code(&mut self, limit: Duration) -> Option<i32> {
        let begun = Instant::now();
        while begun.elapsed() < limit {
            let status = self.child.lock().ok().and_then(|mut child| child.try_wait().ok());
            if let Some(Some(status)) = status {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        None
    }

    /// What it wrote to its second serial port: events.
    pub fn events(&self) -> Vec<u8> {
        fs::read(self.folder.join("events")).unwrap_or_default()
    }

    /// What it wrote to its standard output.
    pub fn output(&self) -> String {
        fs::read_to_string(self.folder.join("stdout")).unwrap_or_default()
    }

    /// Stop it as a lost supply would.
    pub fn kill(&mut self) {
        if let Ok(mut child) = self.child.lock() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Kill it when nothing has moved for long: a read from its pipe has no time-out.
fn watch(child: Arc<Mutex<Child>>, life: Arc<AtomicU64>, over: Arc<AtomicBool>) {
    std::thread::spawn(move || {
        let (mut last, mut since) = (life.load(Ordering::Relaxed), Instant::now());
        while !over.load(Ordering::Relaxed) {
            std::thread::sleep(Duration::from_millis(200));
            let now = life.load(Ordering::Relaxed);
            if now != last {
                (last, since) = (now, Instant::now());
            } else if since.elapsed() > HANGS {
                if let Ok(mut child) = child.lock() {
                    let _ = child.kill();
                }
                return;
            }
        }
    });
}

impl Drop for Qemu {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        self.kill();
        let _ = fs::remove_dir_all(&self.folder);
    }
}

/// `made`, or the end of the child before it came.
fn wait_for<T>(child: &mut Child, made: &mpsc::Receiver<io::Result<T>>) -> io::Result<T> {
    let begun = Instant::now();
    loop {
        match made.recv_timeout(Duration::from_millis(10)) {
            Ok(result) => return result,
            Err(_) => {
                if let Some(status) = child.try_wait()? {
                    return Err(io::Error::other(format!("it ended at once, {status}")));
                }
                if begun.elapsed() > START {
                    let _ = child.kill();
                    return Err(io::Error::other("it did not connect in time"));
                }
            }
        }
    }
}

fn by_pipes(image: &Path, folder: &Path, more: &[&str]) -> io::Result<(Child, Wires)> {
    let (to, from) = (folder.join("to-board"), folder.join("from-board"));
    let made = Command::new("mkfifo").arg(&to).arg(&from).status()?;
    if !made.success() {
        return Err(io::Error::other("mkfifo failed"));
    }
    let mut child = machine(image, folder)?
        .args(more)
        .stdout(File::create(folder.join("stdout"))?)
        .stderr(Stdio::null())
        .spawn()?;
    let (sender, receiver) = mpsc::channel();
    // Opening a pipe waits for the other end, maybe for ever.
    std::thread::spawn(move || {
        let open = || {
            let to = OpenOptions::new().write(true).open(to)?;
            Ok((to, File::open(from)?))
        };
        let _ = sender.send(open());
    });
    let (to, from) = wait_for(&mut child, &receiver)?;
    Ok((child, Wires::Pipes(to, from)))
}

fn by_socket(image: &Path, folder: &Path) -> io::Result<(Child, Wires)> {
    let path = folder.join("serial");
    let listener = UnixListener::bind(&path)?;
    let mut child = machine(image, folder)?
        .args(["-chardev", "socket,id=link,path=serial", "-serial", "chardev:link"])
        .args(["-serial", "file:events"])
        .stdout(File::create(folder.join("stdout"))?)
        .stderr(Stdio::null())
        .spawn()?;
    let (sender, receiver) = mpsc::channel();
    std::thread::spawn(move || {
        let _ = sender.send(listener.accept().map(|(stream, _)| stream));
    });
    let stream = wait_for(&mut child, &receiver)?;
    Ok((child, Wires::Socket(stream)))
}
