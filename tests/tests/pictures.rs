//! Pictures: what every stick diagram must keep, over the demos and random drivelines; the
//! palette's contrast and its distance for colour-blind eyes, computed by published formulas.

use std::collections::BTreeMap;

use host_sim::driveline::{DEMOS, Driveline, demo, parse};
use host_sim::kinematics::analyse;
use host_sim::picture::palette::{
    AREAS, MACHINES, ROLES, Role, area_look, machine_dash, plain, text_width,
};
use host_sim::picture::stick::{Highlight, Operation, Stick, arrangement, conflict};
use slipwarden_tests::random;

/// One element of an SVG as the strict reader below sees it.
struct Element {
    name: String,
    attributes: BTreeMap<String, String>,
    text: String,
}

impl Element {
    fn number(&self, key: &str) -> f64 {
        self.attributes[key].parse().unwrap_or_else(|_| panic!("{key} is a number"))
    }
}

/// A strict reader of the part of XML that pictures use: every tag closed in order, attributes
/// quoted and not repeated, no bare `<` or `&`.
fn read(svg: &str) -> Vec<Element> {
    let mut list: Vec<Element> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let mut rest = svg;
    while let Some(at) = rest.find('<') {
        let (text, tail) = rest.split_at(at);
        check_entities(text);
        if let Some(&inner) = open.last() {
            list[inner].text.push_str(text);
        } else {
            assert!(text.trim().is_empty(), "text outside of the root: {text:?}");
        }
        let end = tail.find('>').expect("a tag ends");
        let tag = &tail[1..end];
        rest = &tail[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            let inner = open.pop().expect("something is open");
            assert_eq!(list[inner].name, name, "tags close in order");
            continue;
        }
        let closed = tag.ends_with('/');
        list.push(element(tag.trim_end_matches('/')));
        if !closed {
            open.push(list.len() - 1);
        }
    }
    assert!(open.is_empty() && rest.trim().is_empty(), "all tags are closed");
    list
}

fn check_entities(text: &str) {
    for piece in text.split('&').skip(1) {
        let known = ["amp;", "lt;", "gt;", "quot;", "#39;"];
        assert!(known.iter().any(|k| piece.starts_with(k)), "entity: &{piece}");
    }
}

fn element(tag: &str) -> Element {
    let (name, mut rest) = tag.split_once(' ').unwrap_or((tag, ""));
    let mut attributes = BTreeMap::new();
    while !rest.trim().is_empty() {
        let (key, tail) = rest.split_once("=\"").expect("attributes are quoted");
        let (value, tail) = tail.split_once('"').expect("quotes are closed");
        check_entities(value);
        let again = attributes.insert(key.trim().to_string(), value.to_string());
        assert!(again.is_none(), "attribute {key} twice in <{tag}>");
        rest = tail;
    }
    Element { name: name.to_string(), attributes, text: String::new() }
}

/// Left, top, right, bottom of a text: 0.6 em a character, which is wider than Helvetica,
/// Arial and DejaVu Sans are on average.
fn text_box(e: &Element) -> [f64; 4] {
    let title = e.attributes.get("class").is_some_and(|c| c == "title");
    let size = if title { 15.0 } else { 11.0 };
    let (x, y, wide) = (e.number("x"), e.number("y"), text_width(&e.text, size));
    let left = match e.attributes["text-anchor"].as_str() {
        "start" => x,
        "middle" => x - wide / 2.0,
        _ => x - wide,
    };
    [left, y - 0.75 * size, left + wide, y + 0.2 * size]
}

fn overlap(a: &[f64; 4], b: &[f64; 4]) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

/// Points of a path of straight pieces, or both ends of a line.
fn points(e: &Element) -> Vec<(f64, f64)> {
    match e.name.as_str() {
        "line" => {
            vec![(e.number("x1"), e.number("y1")), (e.number("x2"), e.number("y2"))]
        }
        "path" => {
            let numbers: Vec<f64> = e.attributes["d"]
                .split(['M', 'L', 'Z', ' '])
                .filter(|s| !s.is_empty())
                .map(|s| s.parse().expect("a number"))
                .collect();
            numbers.chunks(2).map(|p| (p[0], p[1])).collect()
        }
        "rect" => {
            let (x, y) = (e.number("x"), e.number("y"));
            vec![(x, y), (x + e.number("width"), y + e.number("height"))]
        }
        "circle" => {
            let (x, y, r) = (e.number("cx"), e.number("cy"), e.number("r"));
            vec![(x - r, y - r), (x + r, y + r)]
        }
        _ => Vec::new(),
    }
}

/// Everything that a stick diagram of `d` must keep; `what` names it in a failure.
fn judge(d: &Driveline, svg: &str, what: &str) {
    let list = read(svg);
    let (width, height) = (list[0].number("width"), list[0].number("height"));
    let texts: Vec<&Element> = list.iter().filter(|e| e.name == "text").collect();
    let boxes: Vec<[f64; 4]> = texts.iter().map(|e| text_box(e)).collect();
    for (i, a) in boxes.iter().enumerate() {
        let words = &texts[i].text;
        let inside = a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= width && a[3] <= height;
        assert!(inside, "{what}: {words:?} leaves the picture");
        for (j, b) in boxes.iter().enumerate().skip(i + 1) {
            assert!(!overlap(a, b), "{what}: {words:?} and {:?} overlap", texts[j].text);
        }
    }
    for e in &list {
        for (x, y) in points(e) {
            let inside = (0.0..=width).contains(&x) && (0.0..=height).contains(&y);
            assert!(inside, "{what}: a {} leaves the picture at {x}, {y}", e.name);
        }
    }
    let is_plate = |e: &&Element| {
        e.attributes.get("class").is_some_and(|c| ["plate", "shut", "clash"].contains(&c.as_str()))
    };
    for plate in list.iter().filter(is_plate) {
        let (a, b) = (points(plate)[0], points(plate)[1]);
        for (words, text) in boxes.iter().zip(&texts) {
            let hit = overlap(&[a.0, a.1, b.0, b.1], words);
            assert!(!hit, "{what}: a plate lies on {:?}", text.text);
        }
    }
    // No line of a shaft runs through words.
    let is_wire = |e: &&Element| e.attributes.get("class").is_some_and(|c| c.starts_with("w "));
    for wire in list.iter().filter(is_wire) {
        for piece in points(wire).windows(2) {
            let (a, b) = (piece[0], piece[1]);
            let line = [a.0.min(b.0), a.1.min(b.1), a.0.max(b.0), a.1.max(b.1)];
            for (words, text) in boxes.iter().zip(&texts) {
                let touched = line[0] <= words[2]
                    && words[0] <= line[2]
                    && line[1] <= words[3]
                    && words[1] <= line[3];
                assert!(!touched, "{what}: a line runs through {:?}", text.text);
            }
        }
    }
    let titles: Vec<&str> =
        list.iter().filter(|e| e.name == "title").map(|e| e.text.trim()).collect();
    let shafts = d.shafts.iter().map(|s| &s.name);
    let named = shafts
        .chain(d.locks.iter().map(|l| &l.name))
        .chain(d.machines.iter().map(|m| &m.name))
        .chain(d.planetaries.iter().map(|p| &p.name))
        .chain(d.gear_pairs.iter().map(|g| &g.name));
    for name in named {
        let found = titles.iter().any(|t| t == name || t.starts_with(&format!("{name}:")));
        assert!(found, "{what}: {name} is not drawn");
    }
}

#[test]
fn stick_diagrams_of_the_demos_keep_their_promises() {
    for name in DEMOS {
        let d = parse(name, demo(name).expect("a demo")).expect("it reads").driveline;
        let k = analyse(&d).expect("it turns");
        let stick = Stick::new(&d);
        judge(&d, &stick.plain(), name);
        for a in &d.arrangements {
            let at = Operation::example(&d, &k, a);
            judge(&d, &stick.draw(&arrangement(&d, &k, a, &at)), &format!("{name} {}", a.name));
        }
        for c in &k.conflicts {
            judge(&d, &stick.draw(&conflict(&d, &k, c)), &format!("{name} {}", c.reason));
        }
    }
}

#[test]
fn stick_diagrams_of_random_drivelines_keep_their_promises() {
    for seed in 0..80 {
        let d = random::driveline(seed);
        let stick = Stick::new(&d);
        judge(&d, &stick.plain(), &format!("seed {seed}"));
        let Ok(k) = analyse(&d) else { continue };
        for c in k.conflicts.iter().take(2) {
            judge(&d, &stick.draw(&conflict(&d, &k, c)), &format!("seed {seed}: {}", c.reason));
        }
    }
}

#[test]
fn long_names_find_their_room() {
    for seed in 0..30 {
        let mut d = random::driveline(seed);
        // The longest names that a file may have: 32 characters, with and without a hyphen.
        let shafts = d.shafts.iter_mut().map(|s| &mut s.name);
        let locks = d.locks.iter_mut().map(|l| &mut l.name);
        let machines = d.machines.iter_mut().map(|m| &mut m.name);
        for name in shafts.chain(locks) {
            *name = format!("{name:w<32}");
        }
        for name in machines {
            *name = format!("{name}-{:v<12}-{:w<8}", "v", "w");
        }
        judge(&d, &Stick::new(&d).plain(), &format!("long names, seed {seed}"));
    }
}

#[test]
fn planted_faults_are_seen() {
    let d = parse("shuttle", demo("shuttle").expect("a demo")).expect("it reads").driveline;
    let svg = Stick::new(&d).plain();
    judge(&d, &svg, "as drawn");
    let words = svg.find(">ring-brake</text>").expect("the lock's name");
    let start = svg[..words].rfind("<text x=\"").expect("its text") + 9;
    let end = start + svg[start..].find('"').expect("a quote");
    let moved = |x: &str| format!("{}{x}{}", &svg[..start], &svg[end..]);
    let plants = [
        ("words left of the picture", moved("-10")),
        (
            "words on its plates",
            moved(&(svg[start..end].parse::<f64>().unwrap() - 20.0).to_string()),
        ),
        ("a tag left open", svg.replacen("</g>", "", 1)),
        ("a bare ampersand", svg.replace("ring-brake", "ring & brake")),
        ("a shaft without a name", svg.replace("<title>crank</title>", "<title></title>")),
    ];
    for (what, text) in plants {
        assert_ne!(svg, text, "{what} is planted");
        let seen = std::panic::catch_unwind(|| judge(&d, &text, what)).is_err();
        assert!(seen, "{what} is not seen");
    }
}

#[test]
fn the_same_driveline_gives_the_same_bytes_and_another_highlight_others() {
    let d = random::driveline(7);
    let plain = Stick::new(&d).plain();
    assert_eq!(plain, Stick::new(&d.clone()).plain());
    let closed = Highlight { closed: 1, ..Highlight::default() };
    assert_ne!(plain, Stick::new(&d).draw(&closed), "a closed lock shows");
}

#[test]
fn power_in_equals_power_out_at_every_shaft_and_part() {
    for name in DEMOS {
        let d = parse(name, demo(name).expect("a demo")).expect("it reads").driveline;
        let k = analyse(&d).expect("it turns");
        let mut pushed = 0;
        for a in &d.arrangements {
            let at = Operation::example(&d, &k, a);
            let shown = arrangement(&d, &k, a, &at);
            let most = shown.flows.iter().map(|f| f.power.abs()).fold(0.0, f64::max);
            for s in 0..d.shafts.len() {
                let sum: f64 = shown.flows.iter().filter(|f| f.shaft == s).map(|f| f.power).sum();
                assert!(sum.abs() <= 0.02 * most, "{name} {}: shaft {s} gains {sum}", a.name);
            }
            // Lossless: what machines give is what the wheels receive. The engine's power is
            // taken by the generator in between.
            let given: f64 = (d.machines.iter().zip(&at.machine_nm))
                .map(|(m, torque)| torque * at.speed_rpm[m.shaft])
                .sum();
            let taken = at.output_nm * at.speed_rpm[d.output.shaft];
            let balanced = (given - taken).abs() <= 1e-6 * most.max(1.0);
            assert!(balanced, "{name} {}: {given} given, {taken} taken", a.name);
            if name == "shuttle" && a.name == "series" {
                // The engine turns the generator as much as the traction machine draws.
                let engine = at.machine_nm[2] * at.speed_rpm[d.machines[2].shaft];
                assert!((engine - taken).abs() <= 1e-6 * taken, "{engine} of {taken}");
            }
            pushed += usize::from(taken > 0.0);
        }
        assert!(pushed > 0, "{name}: some arrangement pushes");
    }
}

/// Red, green, blue of `#rrggbb` as linear light, by the sRGB curve (IEC 61966-2-1).
fn linear(colour: &str) -> [f64; 3] {
    [1, 3, 5].map(|i| {
        let c = f64::from(u8::from_str_radix(&colour[i..i + 2], 16).expect("hex")) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    })
}

/// Contrast ratio by WCAG 2.2, "relative luminance" and "contrast ratio".
fn contrast(a: &str, b: &str) -> f64 {
    let light = |c: &str| {
        let [r, g, b] = linear(c);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (high, low) = (light(a).max(light(b)), light(a).min(light(b)));
    (high + 0.05) / (low + 0.05)
}

#[test]
fn words_and_signs_stand_out_from_both_grounds() {
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9, "the formula's own end");
    let role = |name: &str| ROLES.iter().find(|r| r.0 == name).expect("a role");
    for ground in ["paper", "panel"].map(role) {
        // Words: 4.5 (WCAG 2.2, 1.4.3).
        for word in ["ink", "soft", "alarm", "fine", "warn"].map(role) {
            let both = [contrast(word.1, ground.1), contrast(word.2, ground.2)];
            assert!(both.iter().all(|c| *c >= 4.5), "{} on {}: {both:?}", word.0, ground.0);
        }
        // Signs and lines that carry meaning: 3 (WCAG 2.2, 1.4.11).
        for sign in ["power", "held"].map(role).into_iter().chain(&MACHINES) {
            let both = [contrast(sign.1, ground.1), contrast(sign.2, ground.2)];
            assert!(both.iter().all(|c| *c >= 3.0), "{} on {}: {both:?}", sign.0, ground.0);
        }
    }
}

/// What a colour looks like without red or without green cones: matrices over linear sRGB for
/// full dichromacy by G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based
/// Model for Simulation of Color Vision Deficiency" (2009), severity 1.0; numbers from memory.
/// Their rows must add up to one (white stays white), which the test checks.
const BLIND: [[[f64; 3]; 3]; 2] = [
    [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
];

/// CIE L*a*b* (D65) of linear light.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    let row = |a: [f64; 3]| (0..3).map(|i| a[i] * rgb[i].clamp(0.0, 1.0)).sum::<f64>();
    let f = |t: f64| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
    let x = f(row([0.4124, 0.3576, 0.1805]) / 0.9505);
    let y = f(row([0.2126, 0.7152, 0.0722]));
    let z = f(row([0.0193, 0.1192, 0.9505]) / 1.089);
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// How far two colours are apart for the eyes that tell them worst: CIE 1976 difference; about 2.3
/// is just noticed (from memory), ten is plain.
fn apart(a: &str, b: &str) -> f64 {
    let seen = |colour: &str, m: &[[f64; 3]; 3]| {
        let c = linear(colour);
        lab([0, 1, 2].map(|r| (0..3).map(|i| m[r][i] * c[i]).sum()))
    };
    let one = |m| {
        let (a, b) = (seen(a, m), seen(b, m));
        (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
    };
    BLIND.iter().map(one).fold(f64::INFINITY, f64::min)
}

/// No two looks that a picture can give have the same dash or mark and colours that colour-blind
/// eyes take for one: machines (twice as many as there are colours), other lines (as many as
/// shafts can be), areas (as many as arrangements can be).
#[test]
fn every_look_stays_apart_for_colour_blind_eyes() {
    for rows in BLIND.iter().flatten() {
        assert!((rows.iter().sum::<f64>() - 1.0).abs() < 2e-5, "white stays white");
    }
    let of_role = |name: &str| *ROLES.iter().find(|r| r.0 == name).expect("a role");
    let machines: Vec<(Role, String)> = (0..2 * MACHINES.len())
        .map(|i| (MACHINES[i % MACHINES.len()], machine_dash(i).to_owned()))
        .collect();
    let plain = (0..16).map(plain).map(|(role, dash)| (of_role(role), dash.to_owned()));
    let lines: Vec<(Role, String)> = machines.into_iter().chain(plain).collect();
    let areas = (0..16).map(area_look).map(|(c, mark)| (AREAS[c], mark.to_string())).collect();
    for looks in [lines, areas] {
        for (i, (a, with)) in looks.iter().enumerate() {
            for (b, _) in looks[..i].iter().filter(|other| other.1 == *with) {
                for (x, y) in [(a.1, b.1), (a.2, b.2)] {
                    assert!(apart(x, y) > 10.0, "{} and {}: {:.1}", a.0, b.0, apart(x, y));
                }
            }
        }
    }
}
