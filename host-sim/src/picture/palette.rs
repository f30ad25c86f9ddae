//! Every colour of every picture and of the review's page, in one place: light and dark, one
//! colour a machine, a dash or a mark beside every colour.
//!
//! A picture names roles ("ink", "power"), never colours. As a file it follows the reader's
//! system through `prefers-color-scheme`; a page that holds many of them has [`style`] once.

/// A role with its colour on a light and on a dark ground.
pub type Role = (&'static str, &'static str, &'static str);

/// Grounds, lines and words: name, light, dark. Ink on drawing paper.
pub const ROLES: [Role; 11] = [
    ("paper", "#fbfaf5", "#12181d"),
    ("panel", "#f2f0e7", "#1a2229"),
    ("ink", "#1b2733", "#dde4ea"),
    ("soft", "#55626e", "#9fadb9"),
    ("grid", "#d3d2c8", "#303c46"),
    ("line", "#7d8891", "#64737f"),
    ("power", "#1f5f8b", "#84bde6"),
    ("held", "#6b5a3a", "#cdb58a"),
    ("alarm", "#a3261b", "#ff958a"),
    ("fine", "#1d6a49", "#74c9a0"),
    ("warn", "#7d5200", "#e2b660"),
];

/// Colours of paper in a printer: white, and all else as on a light ground.
pub const PRINT: [(&str, &str); 2] = [("paper", "#ffffff"), ("panel", "#f4f3ee")];

/// One colour a machine, in file order, kept through all pictures; hues of M. Okabe and
/// K. Ito, "Color Universal Design" (2008; from memory), darkened or lightened until they
/// stand out from both grounds.
pub const MACHINES: [Role; 6] = [
    ("machine-0", "#0072b2", "#5cb3e8"),
    ("machine-1", "#c04a00", "#f08c4a"),
    ("machine-2", "#00805c", "#35c79a"),
    ("machine-3", "#a3487f", "#e39bc4"),
    ("machine-4", "#6f6a00", "#d9cf4a"),
    ("machine-5", "#4a4f9c", "#a7abf2"),
];

/// Fills of areas that carry ink: arrangements in a map, losses in a bar.
pub const AREAS: [Role; 8] = [
    ("area-0", "#8fc4e8", "#1f5577"),
    ("area-1", "#f0c15a", "#7a5600"),
    ("area-2", "#7fd1b4", "#0b4a38"),
    ("area-3", "#e8a9cc", "#7a3b66"),
    ("area-4", "#f3ec9a", "#4a4600"),
    ("area-5", "#b6c4d2", "#44525f"),
    ("area-6", "#eaa27a", "#96430f"),
    ("area-7", "#d3e6a0", "#2c4d2a"),
];

/// From little to much: on either ground the first is next to the paper.
pub const SHADES: [Role; 6] = [
    ("shade-0", "#f4f3ee", "#1a2229"),
    ("shade-1", "#d5dee6", "#23394b"),
    ("shade-2", "#aec1d2", "#2e526b"),
    ("shade-3", "#7f9db8", "#3f718f"),
    ("shade-4", "#4a6f94", "#6299bd"),
    ("shade-5", "#1d3f63", "#a9d6f2"),
];

/// Lines that belong to no machine: shafts without one, locks.
const PLAIN: [&str; 3] = ["ink", "soft", "held"];

/// Pattern beside the colour of a machine, as a dash.
const DASHES: [&str; 4] = ["", "9 3", "3 3", "9 3 3 3"];
/// Which of them each machine has, for two rounds of the colours: colour-blind eyes may take
/// colours 0 and 5, and 1 and 4, for one, so that these never have the same dash.
const DASH_OF: [usize; 12] = [0, 1, 2, 3, 0, 2, 1, 2, 1, 1, 3, 3];
/// Pattern beside the colour of any other line: none is that of a machine, but the first.
const PLAIN_DASHES: [&str; 6] = ["", "14 4", "1.5 3", "14 3 1.5 3", "6 6", "14 3 5 3"];

/// Colour of a machine, as a reference to its variable.
pub fn machine(index: usize) -> String {
    format!("var(--sw-machine-{})", index % MACHINES.len())
}

/// Dash of a machine's line or border; empty: solid.
pub fn machine_dash(index: usize) -> &'static str {
    DASHES[DASH_OF[index % DASH_OF.len()]]
}

/// Role and dash of line `index` of those that belong to no machine: no two of the first 18 have
/// both in common.
pub fn plain(index: usize) -> (&'static str, &'static str) {
    let (colour, round) = (index % PLAIN.len(), index / PLAIN.len());
    (PLAIN[colour], PLAIN_DASHES[(2 * colour + round) % PLAIN_DASHES.len()])
}

/// Colour of a role, as a reference to its variable.
pub fn role(name: &str) -> String {
    format!("var(--sw-{name})")
}

/// Attributes of a line in this colour and with this dash.
pub fn stroke(colour: &str, dash: &str, width: f64) -> String {
    let dash =
        if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") };
    format!(
        "fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" stroke-linejoin=\"round\"{dash}"
    )
}

/// Marks of areas, for eyes and printers without colour, in a square of 10 px.
const MARKS: [&str; 15] = [
    "",
    "<path d=\"M0 10L10 0M-2 2L2 -2M8 12L12 8\"/>",
    "<circle cx=\"5\" cy=\"5\" r=\"1.6\" class=\"ink\"/>",
    "<path d=\"M0 5L10 5\"/>",
    "<path d=\"M0 0L10 10M-2 8L2 12M8 -2L12 2\"/>",
    "<path d=\"M5 0L5 10\"/>",
    "<path d=\"M0 0L10 10M10 0L0 10\"/>",
    "<path d=\"M5 0L5 10M0 5L10 5\"/>",
    "<circle cx=\"5\" cy=\"5\" r=\"3\"/>",
    "<path d=\"M3 0L3 10M6 0L6 10\"/>",
    "<path d=\"M0 3L10 3M0 6L10 6\"/>",
    "<path d=\"M0 7L2.5 3L5 7L7.5 3L10 7\"/>",
    "<rect x=\"3\" y=\"3\" width=\"4\" height=\"4\" class=\"ink\"/>",
    "<path d=\"M2 5L8 5M5 2L5 8\"/>",
    "<path d=\"M5 2L8 8L2 8Z\"/>",
];

/// Fill number `index` of an area: a colour under a mark; [`area_marks`] must be in the picture.
pub fn area(index: usize) -> String {
    format!("fill=\"url(#area-{index})\"")
}

/// Colour and mark of an area, by number: no two of the first hundred have both in common.
pub fn area_look(index: usize) -> (usize, usize) {
    (index % AREAS.len(), index % MARKS.len())
}

/// Definitions of the first `count` fills of areas.
pub fn area_marks(count: usize) -> String {
    let one = |i: usize| {
        let (colour, mark) = area_look(i);
        format!(
            "<pattern id=\"area-{i}\" width=\"10\" height=\"10\" patternUnits=\"userSpaceOnUse\">\
             <rect width=\"10\" height=\"10\" fill=\"var(--sw-area-{colour})\"/>\
             <g class=\"mark\">{}</g></pattern>",
            MARKS[mark]
        )
    };
    (0..count).map(one).collect()
}

/// The variables of one ground, for a selector.
pub fn variables(dark: bool) -> String {
    let one =
        |&(name, light, dim): &Role| format!("--sw-{name}:{};", if dark { dim } else { light });
    ROLES.iter().chain(&MACHINES).chain(&AREAS).chain(&SHADES).map(one).collect()
}

/// Style shared by all pictures of this look; for an `svg` of class `sw`.
pub fn style() -> String {
    let print: String = PRINT.iter().map(|(name, c)| format!("--sw-{name}:{c};")).collect();
    format!(
        ".sw{{{}}}@media screen and (prefers-color-scheme:dark){{.sw{{{}}}}}\
         @media print{{.sw{{{print}}}}}\
         .sw text{{font-family:Helvetica,Arial,'DejaVu Sans',sans-serif;font-size:11px;\
         fill:var(--sw-ink)}}\
         .sw .title{{font-size:15px;font-weight:600}}.sw .sub{{fill:var(--sw-soft)}}\
         .sw .name{{font-weight:600}}\
         .sw .mark *{{fill:none;stroke:var(--sw-ink);stroke-width:1}}\
         .sw .mark .ink{{fill:var(--sw-ink);stroke:none}}",
        variables(false),
        variables(true)
    )
}

/// Width that a text may take, px, at a font size: an upper bound for the fonts above, so
/// that boxes computed with it do not overlap in any of them.
pub fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(|c| if c.is_ascii() { 0.6 } else { 1.0 }).sum::<f64>() * size
}
