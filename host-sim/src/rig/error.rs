//! What can go wrong with a rig, in words.

use std::io;

use supervisor::link::Hello;
use supervisor::link::message::Differs;

/// Why the rig stopped.
#[derive(Debug)]
pub enum RigError {
    /// The board cannot be reached.
    Open(String),
    /// The board and this table do not belong together.
    Refused(Differs, Option<(Hello, Hello)>),
    /// Nobody answers.
    Silent(&'static str),
    /// The link is lost and did not come back.
    Lost(io::Error),
    /// A run cannot start, or a file cannot be written.
    Other(String),
}

/// A build name as text.
pub(super) fn build_text(hello: &Hello) -> String {
    let bytes = hello.build.iter().take_while(|b| **b != 0);
    bytes.map(|b| if b.is_ascii_graphic() || *b == b' ' { *b as char } else { '?' }).collect()
}

fn differ(what: Differs, both: &Option<(Hello, Hello)>) -> String {
    let Some((own, board)) = both else {
        return match what {
            Differs::TableDamaged => {
                "the board's table is damaged: its content does not match its hash\n    fix: write \
                 the image anew; if it comes again, the flash is worn"
                    .into()
            }
            other => format!("the board refuses: {other:?} differs"),
        };
    };
    match what {
        Differs::Protocol => format!(
            "the board speaks version {} of the link, this program {}\n    fix: build both from the \
             same release",
            board.protocol, own.protocol
        ),
        Differs::TableFormat => format!(
            "the board's table has layout {}, this program's {}\n    fix: build both from the same \
             release",
            board.table_format, own.table_format
        ),
        Differs::TableHash => format!(
            "the board ({}) has the table {:08x}, this driveline's is {:08x}\n    fix: `slipwarden \
             table FILE --rust` into the firmware, and write that to the board",
            build_text(board),
            board.table_hash,
            own.table_hash
        ),
        Differs::Tick => format!(
            "the board ticks every {} us, this table every {} us",
            board.tick_us, own.tick_us
        ),
        Differs::Role => "at the other end is a host, not a board".into(),
        Differs::TableDamaged => differ(what, &None),
    }
}

impl std::fmt::Display for RigError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RigError::Open(why) | RigError::Other(why) => f.write_str(why),
            RigError::Refused(what, both) => f.write_str(&differ(*what, both)),
            RigError::Silent(what) => {
                write!(f, "the board does not answer {what}\n    fix: is it on, wired and running?")
            }
            RigError::Lost(error) => {
                write!(f, "the link to the board was lost and did not come back: {error}")
            }
        }
    }
}

impl std::error::Error for RigError {}
