//! Junk and damaged driveline files: an error, never a panic, never slow.

use std::cell::Cell;
use std::time::{Duration, Instant};

use host_sim::driveline::{self, DEMOS, Failure};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;

/// What takes longer than this hangs.
const DEAD_AFTER: Duration = Duration::from_secs(60);

/// Read; whatever is refused must also be shown without a panic, in reasonable lines.
fn read(text: &str) -> Option<driveline::Checked> {
    match driveline::parse("junk.toml", text) {
        Ok(checked) => Some(checked),
        Err(found) => {
            assert!(found.has_errors());
            let shown = found.render(true);
            assert!(shown.contains("error"), "{shown}");
            None
        }
    }
}

fn read_bytes(bytes: &[u8]) -> Result<driveline::Checked, String> {
    driveline::source::text_of("junk.toml", bytes)
        .and_then(|text| driveline::parse("junk.toml", &text))
        .map_err(|found| found.to_string())
}

#[test]
fn an_empty_file_is_told_so() {
    for text in ["", "\n\n", "  \t\r\n", "\u{feff}"] {
        let told = driveline::parse("empty.toml", text).expect_err("empty").to_string();
        assert!(told.starts_with("empty.toml: error: the file is empty\n"), "{told}");
    }
    assert!(read("# only a comment\n").is_none());
}

#[test]
fn a_byte_order_mark_and_crlf_do_no_harm() {
    let text = driveline::demo("shuttle").expect("embedded");
    let crlf = format!("\u{feff}{}", text.replace('\n', "\r\n"));
    let same = read_bytes(crlf.as_bytes()).expect("good").driveline;
    assert_eq!(same, read(text).expect("good").driveline);
    let faulty = crlf.replacen("max_rpm = 9000\r\n", "max_rpm = -9000\r\n", 1);
    let told = read_bytes(faulty.as_bytes()).expect_err("faulty");
    assert!(told.contains("junk.toml:11:11: error: `max_rpm` must be above 0"), "{told}");
    assert!(told.contains("    11 | max_rpm = -9000\n       |           ^^^^^\n"), "{told}");
}

#[test]
fn bytes_that_are_not_utf8_are_shown_where_they_stand() {
    let mut bytes = b"format = 1\nname = \"m".to_vec();
    bytes.extend([0xfc]);
    bytes.extend(b"hle\"\n");
    let told = read_bytes(&bytes).expect_err("latin-1");
    assert!(
        told.starts_with("junk.toml:2:10: error: the file is not UTF-8 text: byte 0xfc"),
        "{told}"
    );
    assert!(told.contains("\n       |          ^\n"), "{told}");
}

#[test]
fn tabs_and_wide_characters_are_underlined_in_place() {
    let told =
        read_bytes("format = 1\nname = \"x\"\n\tabout = \"\u{65e5}\u{672c}\" \u{e9}\n".as_bytes())
            .expect_err("not TOML");
    // A tab counts as one column and is shown as four blanks; the two signs are two wide each.
    assert!(told.contains("junk.toml:3:15: error"), "{told}");
    let lines: Vec<&str> = told.lines().collect();
    let at = lines.iter().position(|l| l.contains("about")).expect("shown");
    assert_eq!(lines[at], "     3 |     about = \"\u{65e5}\u{672c}\" \u{e9}");
    assert_eq!(lines[at + 1], format!("       | {}^", " ".repeat(19)), "{told}");
}

#[test]
fn control_characters_do_not_reach_the_terminal() {
    let told = read_bytes(b"format = 1\nname = \"a\x1b[31mb\"\n").expect_err("control");
    assert!(!told.contains('\u{1b}'), "{told:?}");
    let told = read_bytes(b"format = 1\n\"a\\u001b[31m\" = 2\n").expect_err("unknown key");
    assert!(!told.contains('\u{1b}'), "{told:?}");
}

#[test]
fn large_and_deep_junk_is_refused_quickly() {
    let mut junk: Vec<(&str, Vec<u8>)> = vec![
        ("10 MB of noise", vec![b'x'; 10 << 20]),
        ("1 MB of brackets", vec![b'['; 1 << 20]),
        ("1 MB in one key", [vec![b'k'; (1 << 20) - 8], b" = 1\n".to_vec()].concat()),
        (
            "1 MB in one string",
            [b"name = \"".to_vec(), vec![b'k'; (1 << 20) - 20], b"\"\n".to_vec()].concat(),
        ),
        ("1 MB of braces", [b"a = ".to_vec(), b"{a=".repeat(300_000)].concat()),
        ("many faulty lines", b"a b\n\n".repeat(200_000)),
        ("many shafts", b"[[shaft]]\nnam='x'\n".repeat(55_000)),
        ("many names", b"[[shaft]]\nname='x'\n".repeat(52_000)),
    ];
    let keys: String = (0..80_000).map(|i| format!("max_rpn{i} = 1\n")).collect();
    junk.push(("many unknown keys", keys.into_bytes()));
    let tables: String = (0..60_000).map(|i| format!("[shafd{i}]\n")).collect();
    junk.push(("many unknown tables", tables.into_bytes()));
    let list = format!("closed = [{}]\n", "\"no-such-lock\", ".repeat(50_000));
    junk.push(("a long list", format!("format = 1\n[[arrangement]]\n{list}").into_bytes()));
    for (what, bytes) in &junk {
        let begin = Instant::now();
        let told = read_bytes(bytes).expect_err(what);
        // No measure of speed: what grows with the square of these sizes takes minutes.
        assert!(begin.elapsed() < DEAD_AFTER, "{what}: {:?}", begin.elapsed());
        assert!(told.len() < 100_000, "{what}: {} bytes are told", told.len());
        assert!(told.contains("error"), "{what}");
    }
}

#[test]
fn files_that_cannot_be_read_are_told_so() {
    let missing = driveline::read("no-such-file.toml").expect_err("missing");
    assert!(matches!(missing, Failure::Unreadable(_)));
    assert!(missing.to_string().contains("the embedded demos are shuttle, railcar, axle"));
    assert!(matches!(driveline::read("."), Err(Failure::Unreadable(_))), "a folder");
}

/// What a mutation puts in.
fn snippet() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("[[shaft]]\n".to_string()),
        Just("\n".to_string()),
        Just("\"".to_string()),
        Just("= = [ ] { }".to_string()),
        Just("\u{fc}\u{65e5}\t\u{0}".to_string()),
        Just("-1e400".to_string()),
        Just("9223372036854775807".to_string()),
        Just("name = \"case\"\n".to_string()),
        Just("kind = \"engine\"\n".to_string()),
        "[ -~]{0,12}",
        any::<i64>().prop_map(|i| i.to_string()),
        any::<f64>().prop_map(|x| format!("{x:?}")),
    ]
}

/// Make the next number that stands alone behind "=" a little or much smaller or larger.
fn scale_a_number(text: &mut Vec<char>, from: usize, how: usize) {
    let factor = [0.5, 0.8, 0.9, 0.95, 0.99, 1.0, 1.01, 1.02, 1.05, 1.1, 1.2, 1.5, 100.0][how % 13];
    let line = |at: usize| text[at..].iter().take_while(|c| **c != '\n').collect::<String>();
    for at in from..text.len() {
        if text[at] != '=' {
            continue;
        }
        let value = line(at + 1);
        let Ok(number) = value.trim().parse::<f64>() else { continue };
        let scaled = number * factor;
        let scaled =
            if value.contains('.') { format!(" {scaled}") } else { format!(" {scaled:.0}") };
        drop(
            text.splice(at + 1..at + 1 + value.chars().count(), scaled.chars()).collect::<Vec<_>>(),
        );
        return;
    }
}

/// A damaged demo file: some stretches deleted, some put in, some lines doubled or exchanged.
fn damaged() -> impl Strategy<Value = String> {
    let change = (0usize..8, any::<prop::sample::Index>(), 0usize..12, snippet());
    (0..DEMOS.len(), prop::collection::vec(change, 1..5)).prop_map(|(demo, changes)| {
        let mut text: Vec<char> = driveline::demo(DEMOS[demo]).expect("embedded").chars().collect();
        for (how, at, length, put) in changes {
            if text.is_empty() {
                break;
            }
            let from = at.index(text.len());
            let to = (from + length).min(text.len());
            match how {
                0 => drop(text.drain(from..to)),
                1 => drop(text.splice(from..from, put.chars()).collect::<Vec<_>>()),
                2..=5 => scale_a_number(&mut text, from, length),
                _ => {
                    // Replace what stands after the next "=".
                    let Some(equals) = text[from..].iter().position(|c| *c == '=') else {
                        continue;
                    };
                    let begin = from + equals + 1;
                    let end = text[begin..]
                        .iter()
                        .position(|c| *c == '\n')
                        .map_or(text.len(), |e| begin + e);
                    drop(text.splice(begin..end, put.chars()).collect::<Vec<_>>());
                }
            }
        }
        text.into_iter().collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any bytes at all.
    #[test]
    fn any_bytes_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        prop_assert!(read_bytes(&bytes).is_err());
    }

    /// Anything that looks a little like TOML.
    #[test]
    fn any_toml_like_text_is_refused(text in "([\\[\\]{}=\"'#,.\\-_a-c0-9 \t\r\n]|name|format|shaft|\u{e4}){0,80}") {
        prop_assert!(read(&text).is_none());
    }
}

/// Nothing panics; what is accepted is accepted again with the same result; and damage of both
/// kinds is really tried: some that is refused, some that is not seen.
#[test]
fn damaged_demos_are_read_or_refused() {
    let config = ProptestConfig { cases: 1500, failure_persistence: None, ..Default::default() };
    let (accepted, refused) = (Cell::new(0), Cell::new(0));
    let judged = TestRunner::new(config).run(&damaged(), |text| {
        let Some(checked) = read(&text) else {
            refused.set(refused.get() + 1);
            return Ok(());
        };
        accepted.set(accepted.get() + 1);
        let again = read(&text).expect("accepted before");
        prop_assert_eq!(&checked.driveline, &again.driveline);
        let d = &checked.driveline;
        prop_assert!(d.locks.len() <= 8 && d.shafts.len() <= 16 && d.sensors.len() <= 8);
        prop_assert!(d.locks.iter().all(|l| l.a < d.shafts.len() && l.b != Some(l.a)));
        prop_assert!(d.arrangements.iter().all(|a| u32::from(a.closed) < 1 << d.locks.len()));
        prop_assert!(d.planetaries.iter().all(|p| p.ring_teeth > p.sun_teeth));
        let _ = checked.warnings.render(false);
        Ok(())
    });
    if let Err(fault) = judged {
        panic!("{fault}");
    }
    assert!(accepted.get() > 100 && refused.get() > 100, "{accepted:?} and {refused:?}");
}
