//! The firmware's events, decoded from its second serial port with the table in its image.

use std::time::{Duration, Instant};

use defmt_decoder::{DecodeError, Table};
use host_sim::rig::Via;
use host_sim::rig::lockstep::Lockstep;

use crate::images::{Demo, drive, image};

/// Events in words.
fn decoded(table: &Table, bytes: &[u8]) -> Vec<String> {
    let mut decoder = table.new_stream_decoder();
    decoder.received(bytes);
    let mut events = Vec::new();
    loop {
        match decoder.decode() {
            Ok(frame) => events.push(frame.display_message().to_string()),
            Err(DecodeError::UnexpectedEof) => return events,
            Err(DecodeError::Malformed) => panic!("an event after {events:?} is none"),
        }
    }
}

/// A run says that both sides agreed, that a run began, what was asked for and what then stood; every
/// event is whole.
#[test]
fn events_tell_what_the_board_did() {
    let demo = Demo::new("shuttle");
    let path = image("uart", "release", "shuttle");
    let elf = std::fs::read(&path).expect("the image");
    let table = Table::parse(&elf).expect("a table of events").expect("events are in the image");
    let mut link = demo.link(path, Via::Uart).expect("it greets");
    let mut board = Lockstep::new(&mut link);
    let setup = demo.setup("shuttle-tour");
    drive(&demo, &mut board, &setup, 3000);
    assert!(board.mismatch.is_none());
    let begun = Instant::now();
    let wanted = ["Agreed", "Running", "arrangement: Some("];
    let events = loop {
        let bytes = link.port().qemu().expect("an emulator").events();
        let events = decoded(&table, &bytes);
        let all = wanted.iter().all(|word| events.iter().any(|event| event.contains(word)));
        if all || begun.elapsed() > Duration::from_secs(20) {
            break events;
        }
        std::thread::sleep(Duration::from_millis(50));
    };
    for word in wanted {
        assert!(events.iter().any(|event| event.contains(word)), "{word:?} is not in {events:#?}");
    }
}
