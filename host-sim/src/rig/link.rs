//! The host's end of the link: greeting, calls and answers, trying again, coming back.

use std::collections::VecDeque;
use std::io;
use std::sync::mpsc;
use std::time::{Duration, Instant};

use supervisor::link::answer::Answer;
use supervisor::link::frame::Stamp;
use supervisor::link::message::Call;
use supervisor::link::receiver::Counters;
use supervisor::link::{Begin, Hello, Message, Receiver, Wire};

use super::address::{Address, Via};
use super::capture::Capture;
use super::delays::Delays;
use super::error::RigError;
use super::port::Port;

/// How long the board may take to greet.
const GREETING: Duration = Duration::from_secs(10);
/// How long to wait for one answer before the call is sent again.
const AGAIN: Duration = Duration::from_millis(300);
/// How often it is sent again before the link counts as lost.
const TRIES: u32 = 5;

/// What happened on the way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Events {
    /// Calls that were sent again.
    pub again: u64,
    /// Times that the link was opened anew.
    pub reopened: u64,
    /// Times that the board had begun anew and forgotten the run.
    pub begun_anew: u64,
}

/// An answer, and whether the board had begun anew before it.
#[derive(Clone, Copy, Debug)]
pub struct Answered {
    /// The answer.
    pub answer: Answer,
    /// The board's supervisor knew nothing before this tick.
    pub anew: bool,
}

/// The host's end.
pub struct Link {
    address: Option<Address>,
    port: Port,
    receiver: Receiver,
    inbox: VecDeque<(Stamp, Message)>,
    bytes: Vec<u8>,
    sequence: u16,
    own: Hello,
    board: Option<Hello>,
    begin: Option<Begin>,
    capture: Option<Capture>,
    /// A way that is being opened anew beside the run.
    opening: Option<mpsc::Receiver<Result<Port, RigError>>>,
    /// What happened on the way.
    pub events: Events,
    /// From a call to its answer.
    pub delays: Delays,
    /// How long a lost link may take to come back.
    pub patience: Duration,
}

impl Link {
    /// Open, and agree with the board.
    ///
    /// # Errors
    /// It cannot be reached, is silent, or does not belong to this table.
    pub fn open(address: &Address, own: Hello, capture: Option<Capture>) -> Result<Link, RigError> {
        let mut link = Link::over(Port::open(address)?, own, capture);
        link.address = Some(address.clone());
        link.greet()?;
        Ok(link)
    }

    /// Over a port that is open already; to be [greeted](Link::greet).
    pub fn over(port: Port, own: Hello, capture: Option<Capture>) -> Link {
        Link {
            address: None,
            port,
            receiver: Receiver::new(),
            inbox: VecDeque::new(),
            bytes: Vec::new(),
            sequence: 0,
            own,
            board: None,
            begin: None,
            capture,
            opening: None,
            events: Events::default(),
            delays: Delays::default(),
            patience: Duration::from_secs(30),
        }
    }

    /// Who the board is.
    pub fn board(&self) -> Option<&Hello> {
        self.board.as_ref()
    }

    /// Frames from the board, by sort.
    pub fn counters(&self) -> &Counters {
        &self.receiver.counters
    }

    /// The way to the board.
    pub fn port(&mut self) -> &mut Port {
        &mut self.port
    }

    fn put(&mut self, frame: &[u8]) -> io::Result<()> {
        if let Some(capture) = &mut self.capture {
            capture.sent(frame)?;
        }
        self.port.send(frame)
    }

    /// Send a message under the next number; its stamp.
    ///
    /// # Errors
    /// The other end has gone.
    pub fn say(&mut self, tick: u32, message: &Message) -> io::Result<Stamp> {
        self.sequence = self.sequence.wrapping_add(1);
        let stamp = Stamp { sequence: self.sequence, tick };
        let wire = Wire::new(stamp, message);
        self.put(wire.bytes())?;
        Ok(stamp)
    }

    /// The next message, if one comes in time.
    ///
    /// # Errors
    /// The other end has gone.
    pub fn hear(&mut self, timeout: Duration) -> io::Result<Option<(Stamp, Message)>> {
        let until = Instant::now() + timeout;
        loop {
            if let Some(heard) = self.inbox.pop_front() {
                return Ok(Some(heard));
            }
            let left = until.saturating_duration_since(Instant::now());
            self.port.receive(&mut self.bytes, left)?;
            if let Some(capture) = &mut self.capture {
                capture.came(&self.bytes)?;
            }
            for byte in &self.bytes {
                self.inbox.extend(self.receiver.byte(*byte));
            }
            if self.inbox.is_empty() && left.is_zero() {
                return Ok(None);
            }
        }
    }

    /// Say hello until the board agrees.
    ///
    /// # Errors
    /// It is silent, or differs.
    pub fn greet(&mut self) -> Result<(), RigError> {
        let until = Instant::now() + GREETING;
        let mut asked = Instant::now();
        let mut stamp = None;
        while Instant::now() < until {
            // The board's first word may be its hello, or the middle of something else.
            if stamp.is_none() || asked.elapsed() > Duration::from_millis(500) {
                if self.board.is_none() {
                    let heard = self.hear(Duration::from_millis(200)).map_err(RigError::Lost)?;
                    self.note(heard.as_ref())?;
                }
                let hello = Message::Hello(self.own);
                stamp = Some(self.say(0, &hello).map_err(RigError::Lost)?);
                asked = Instant::now();
            }
            let heard = self.hear(Duration::from_millis(200)).map_err(RigError::Lost)?;
            self.note(heard.as_ref())?;
            if let Some((of, Message::Hello(_))) = heard
                && Some(of) == stamp
            {
                return Ok(());
            }
        }
        Err(RigError::Silent("a greeting"))
    }

    /// Look at what a board says of itself.
    fn note(&mut self, heard: Option<&(Stamp, Message)>) -> Result<(), RigError> {
        match heard {
            Some((_, Message::Hello(board))) => {
                self.board = Some(*board);
                match self.own.differs(board) {
                    Some(differs) => Err(RigError::Refused(differs, Some((self.own, *board)))),
                    None => Ok(()),
                }
            }
            Some((_, Message::Refused(differs))) => {
                Err(RigError::Refused(*differs, self.board.map(|board| (self.own, board))))
            }
            _ => Ok(()),
        }
    }

    /// Begin a run.
    ///
    /// # Errors
    /// The board does not say that it is ready.
    pub fn begin(&mut self, begin: Begin) -> Result<(), RigError> {
        self.begin = Some(begin);
        for _ in 0..TRIES {
            let stamp = self.say(0, &Message::Begin(begin)).map_err(RigError::Lost)?;
            let until = Instant::now() + AGAIN;
            loop {
                let left = until.saturating_duration_since(Instant::now());
                if left.is_zero() {
                    break;
                }
                let heard = self.hear(left).map_err(RigError::Lost)?;
                if matches!(heard, Some((of, Message::Ready)) if of == stamp) {
                    return Ok(());
                }
            }
        }
        Err(RigError::Silent("the beginning of a run"))
    }

    /// One tick in lockstep: the answer to this call, however often it must be sent.
    ///
    /// # Errors
    /// The link was lost and did not come back in time.
    pub fn exchange(&mut self, tick: u32, call: &Call) -> Result<Answered, RigError> {
        self.sequence = self.sequence.wrapping_add(1);
        let stamp = Stamp { sequence: self.sequence, tick };
        let wire = Wire::new(stamp, &Message::Call(*call));
        let until = Instant::now() + self.patience;
        let mut anew = false;
        loop {
            match self.try_exchange(stamp, &wire) {
                Ok(Some(answer)) => return Ok(Answered { answer, anew }),
                Ok(None) => {}
                Err(error) if Instant::now() > until => return Err(RigError::Lost(error)),
                Err(_) => self.reopen(until)?,
            }
            if Instant::now() > until {
                return Err(RigError::Silent("a call"));
            }
            // Silent, or back: does it still know of the run?
            self.greet()?;
            if let Some(answer) = self.try_exchange(stamp, &wire).map_err(RigError::Lost)? {
                return Ok(Answered { answer, anew });
            }
            let begin = Begin { trace: None, ..self.begin.unwrap_or(NO_TRACE) };
            // The beginning must not take a newer number than the call that follows it.
            self.sequence = stamp.sequence.wrapping_sub(1 + TRIES as u16);
            self.begin(begin)?;
            self.sequence = stamp.sequence;
            self.events.begun_anew += 1;
            anew = true;
        }
    }

    fn try_exchange(&mut self, stamp: Stamp, wire: &Wire) -> io::Result<Option<Answer>> {
        for attempt in 0..TRIES {
            if attempt > 0 {
                self.events.again += 1;
            }
            let asked = Instant::now();
            self.put(wire.bytes())?;
            loop {
                let left = AGAIN.saturating_sub(asked.elapsed());
                match self.hear(left)? {
                    Some((of, Message::Answer(answer))) if of == stamp => {
                        self.delays.add(asked.elapsed());
                        return Ok(Some(answer));
                    }
                    // A board that says hello by itself has just started.
                    Some((of, Message::Hello(_))) if of == Stamp::default() => return Ok(None),
                    Some(_) => {}
                    None => break,
                }
            }
        }
        Ok(None)
    }

    /// Open the way anew, again and again.
    fn reopen(&mut self, until: Instant) -> Result<(), RigError> {
        let Some(address) = self.address.clone() else {
            return Err(RigError::Lost(io::ErrorKind::UnexpectedEof.into()));
        };
        loop {
            match Port::open(&address) {
                Ok(port) => {
                    self.take_port(port);
                    return Ok(());
                }
                Err(error) if Instant::now() > until => return Err(error),
                Err(_) => std::thread::sleep(Duration::from_millis(100)),
            }
        }
    }

    /// Bring a broken way back without waiting for it: opened beside the run, looked at whenever
    /// this is called. True when it has just come back.
    pub(super) fn revive(&mut self) -> bool {
        let Some(address) = &self.address else { return false };
        let Some(opening) = &self.opening else {
            let (sender, receiver) = mpsc::channel();
            let address = address.clone();
            std::thread::spawn(move || {
                let port = Port::open(&address);
                if port.is_err() {
                    // Not again at once.
                    std::thread::sleep(Duration::from_millis(100));
                }
                let _ = sender.send(port);
            });
            self.opening = Some(receiver);
            return false;
        };
        let Ok(opened) = opening.try_recv() else { return false };
        self.opening = None;
        let Ok(port) = opened else { return false };
        self.take_port(port);
        true
    }

    fn take_port(&mut self, port: Port) {
        self.port = port;
        self.events.reopened += 1;
        // What was cut off ends here.
        let _ = self.receiver.byte(0);
        self.inbox.clear();
    }

    /// Say hello without waiting for the answer: a board that has just started needs it.
    ///
    /// # Errors
    /// The other end has gone.
    pub(super) fn wave(&mut self) -> io::Result<()> {
        self.say(0, &Message::Hello(self.own)).map(|_| ())
    }

    /// What a board that came back says of itself.
    ///
    /// # Errors
    /// It is another one.
    pub(super) fn known(&mut self, heard: &(Stamp, Message)) -> Result<(), RigError> {
        self.note(Some(heard))
    }

    /// The run is over: the board goes to its safe state. Of an emulator behind pipes, its exit
    /// code and what it printed.
    pub fn end(mut self) -> Option<(i32, String)> {
        let _ = self.say(0, &Message::End);
        if let Some(capture) = &mut self.capture {
            let _ = capture.finish();
        }
        if !matches!(self.address, Some(Address::Qemu(_, Via::Pipes | Via::Counted))) {
            return None;
        }
        self.port.close();
        let qemu = self.port.qemu()?;
        let code = qemu.exit_code(Duration::from_secs(20))?;
        Some((code, qemu.output()))
    }
}

const NO_TRACE: Begin =
    Begin { mode: supervisor::link::Mode::Lockstep, lost_ticks: 1, trace: None };
