//! Every colour of every picture, in one place: light and dark, one colour a machine.
//!
//! A picture names roles ("ink", "power"), never colours. As a file it follows the reader's
//! system through `prefers-color-scheme`; a page that holds it inline may switch it with
//! [`variables`] under a selector of its own.

/// A role with its colour on a light and on a dark ground.
pub type Role = (&'static str, &'static str, &'static str);

/// Grounds, lines and words: name, light, dark.
pub const ROLES: [Role; 10] = [
    ("paper", "#ffffff", "#14191f"),
    ("panel", "#f1f4f7", "#1d252d"),
    ("ink", "#1b2733", "#e3e9ee"),
    ("soft", "#55636f", "#a3b0bb"),
    ("grid", "#c9d1d9", "#3a4651"),
    ("power", "#1f5f8b", "#6cb6e6"),
    ("held", "#6b5a3a", "#cdb58a"),
    ("alarm", "#a8271d", "#ff8f80"),
    ("fine", "#00694d", "#3fc497"),
    ("warn", "#8a5200", "#f0b04a"),
];

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

/// Pattern beside the colour, as a dash: no two machines with one colour share one.
const DASHES: [&str; 4] = ["", "9 3", "3 3", "9 3 3 3"];

/// Colour of a machine, as a reference to its variable.
pub fn machine(index: usize) -> String {
    format!("var(--sw-machine-{})", index % MACHINES.len())
}

/// Dash of a machine's line or border; empty: solid.
pub fn machine_dash(index: usize) -> &'static str {
    DASHES[(index + index / MACHINES.len()) % DASHES.len()]
}

/// Colour of a role, as a reference to its variable.
pub fn role(name: &str) -> String {
    format!("var(--sw-{name})")
}

/// The variables of one ground, for a selector.
pub fn variables(dark: bool) -> String {
    let one =
        |&(name, light, dim): &Role| format!("--sw-{name}:{};", if dark { dim } else { light });
    ROLES.iter().chain(&MACHINES).map(one).collect()
}

/// Style shared by all pictures of this look; for an `svg` of class `sw`.
pub fn style() -> String {
    format!(
        ".sw{{{}}}@media (prefers-color-scheme:dark){{.sw{{{}}}}}\
         .sw text{{font-family:Helvetica,Arial,'DejaVu Sans',sans-serif;font-size:11px;\
         fill:var(--sw-ink)}}\
         .sw .title{{font-size:15px;font-weight:600}}.sw .sub{{fill:var(--sw-soft)}}\
         .sw .name{{font-weight:600}}",
        variables(false),
        variables(true)
    )
}

/// Width that a text may take, px, at a font size: an upper bound for the fonts above, so
/// that boxes computed with it do not overlap in any of them.
pub fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(|c| if c.is_ascii() { 0.6 } else { 1.0 }).sum::<f64>() * size
}
