//! A trace with what was chosen along it.

use super::report::Told;
use crate::energy::pictures::{Axis, Frame, fill, legend, picture};
use crate::picture::scale::thinned;
use crate::picture::svg::{Anchor, Svg};

const STRIP: f64 = 22.0;

/// Road speed and slope over time, and a strip for each choice.
pub(super) fn trace_picture(t: &Told) -> String {
    let title = format!("{} over {}: speed, slope and arrangements", t.d.name, t.trace.name);
    let mut about = format!(
        "Road speed and slope over {:.0} s, and below a strip for each choice of arrangements.",
        t.trace.duration_s()
    );
    let mut strips: Vec<(String, Vec<Option<usize>>)> = t
        .sums
        .iter()
        .take(2)
        .map(|(name, s)| (name.clone(), s.path.iter().map(|a| Some(*a)).collect()))
        .collect();
    if let Some(f) = &t.driven {
        let story = f.story.iter().map(|s| s.1.map(usize::from)).collect();
        strips.push(("forward".to_string(), story));
    }
    for (name, sum) in &t.sums {
        about += &format!(" {name}: {} changes.", sum.changes);
    }
    let height = 470.0 + STRIP * 1.4 * strips.len() as f64;
    let mut svg = picture(960.0, height, &title, &about);
    let slopes = t.trace.moments.iter().map(|m| m.slope);
    let (low, high) = slopes.fold((-1.0f64, 1.0f64), |r, s| (r.0.min(s), r.1.max(s)));
    let time =
        |words| crate::energy::pictures::Axis { low: 0.0, high: t.trace.duration_s(), words };
    let speed = Frame {
        left: 120.0,
        top: 42.0,
        width: 660.0,
        height: 210.0,
        x: time(""),
        y: Axis { low: 0.0, high: 1.08 * t.trace.max_kmh().max(10.0), words: "road speed in km/h" },
    };
    let slope = Frame {
        top: 282.0,
        height: 90.0,
        x: time("time in s"),
        y: Axis { low: 1.1 * low, high: 1.1 * high, words: "slope in %" },
        ..speed
    };
    lines(&mut svg, t, &speed, &slope);
    for (i, (name, path)) in strips.iter().enumerate() {
        let y = 422.0 + 1.4 * STRIP * i as f64;
        svg.text((speed.left - 8.0, y + 15.0), Anchor::End, name, "");
        strip(&mut svg, &speed, y, path, t.trace.duration_s());
    }
    let names: Vec<(usize, String)> =
        t.d.arrangements.iter().enumerate().map(|(i, a)| (i, a.name.clone())).collect();
    legend(&mut svg, (800.0, 50.0), &names);
    svg.finish()
}

fn lines(svg: &mut Svg, t: &Told, speed: &Frame, slope: &Frame) {
    speed.grid(svg);
    slope.grid(svg);
    let begun = t.trace.moments[0].t_s;
    let points = |frame: &Frame, y: fn(&super::trace::Moment) -> f64| {
        let place = |m: &super::trace::Moment| (frame.across(m.t_s - begun), frame.up(y(m)));
        t.trace.moments.iter().map(place).collect::<Vec<_>>()
    };
    let style = "class=\"line\"";
    svg.path(&points(speed, |m| m.kmh), false, style);
    svg.path(&points(slope, |m| m.slope), false, style);
    if let Some(f) = &t.driven {
        let story: Vec<(f64, f64)> = f
            .story
            .iter()
            .enumerate()
            .map(|(s, (kmh, _))| (speed.across(s as f64), speed.up(*kmh)))
            .collect();
        let style = "class=\"driven\"";
        svg.path(&thinned(&story, 0.2), false, style);
        svg.line((800.0, 190.0), (826.0, 190.0), style);
        svg.text((833.0, 194.0), Anchor::Start, "driven", "");
    }
    svg.line((800.0, 168.0), (826.0, 168.0), style);
    svg.text((833.0, 172.0), Anchor::Start, "trace", "");
    speed.axes(svg);
    slope.axes(svg);
}

/// One rectangle for each stay; nothing where no arrangement stands.
fn strip(svg: &mut Svg, frame: &Frame, y: f64, path: &[Option<usize>], duration_s: f64) {
    let per = duration_s / path.len().max(1) as f64;
    let mut i = 0;
    while i < path.len() {
        let begun = i;
        while i < path.len() && path[i] == path[begun] {
            i += 1;
        }
        if let Some(a) = path[begun] {
            let (x0, x1) = (frame.across(begun as f64 * per), frame.across(i as f64 * per));
            svg.rect(x0, y, x1 - x0, STRIP, &fill(a));
        }
    }
    svg.rect(frame.left, y, frame.width, STRIP, "class=\"axis\" fill=\"none\"");
}
