//! CSV (RFC 4180) for spreadsheets: all margins, and the trace from each rule to its result.

use super::evidence::{Kind, count, is_forgiven, list, text};
use super::report::{Report, used};
use super::sections::excerpt;
use super::trace::requirements;
use crate::drive::trace::{field, number};

fn line(cells: &[String]) -> String {
    let cells: Vec<String> = cells.iter().map(|cell| field(cell)).collect();
    cells.join(",") + "\r\n"
}

/// One line for each limit that drives or a campaign came near to.
pub(super) fn margins_csv(report: &Report) -> String {
    let mut out = String::from(
        "made_by,rule,subject,unit,limit_is,limit,worst,used_share,in,seed,t_s,measured_in,\
         forgiven\r\n",
    );
    for worst in &report.margins {
        let (m, drive) = (&worst.margin, &report.drives[worst.drive]);
        let used = used(m);
        out += &line(&[
            "drives".into(),
            m.rule.into(),
            m.subject.clone(),
            m.unit.into(),
            if m.at_least { "lowest" } else { "highest" }.into(),
            number(m.limit),
            number(m.worst),
            if used.is_finite() { number(used) } else { String::new() },
            format!("drive {}", drive.number),
            drive.seed.to_string(),
            number(m.t_s),
            worst.measured_in.to_string(),
            String::new(),
        ]);
    }
    let of_campaigns = report
        .evidence
        .of(Kind::Campaign)
        .flat_map(|part| list(&part.value["margins"]).iter().map(move |m| (&part.value, m)));
    for (value, m) in of_campaigns {
        let float = |key: &str| m[key].as_f64().map_or(String::new(), number);
        let cases: u64 = list(&m["bins"]).iter().map(count).sum();
        out += &line(&[
            "campaign".into(),
            text(&m["rule"]).into(),
            text(&m["subject"]).into(),
            text(&m["unit"]).into(),
            text(&m["limit_is"]).into(),
            float("limit"),
            float("worst"),
            m["left_share"].as_f64().map_or(String::new(), |left| number(1.0 - left)),
            format!("case {}", count(&m["case"])),
            count(&m["case_seed"]).to_string(),
            float("t_s"),
            cases.to_string(),
            if is_forgiven(value, m) { "yes" } else { "" }.into(),
        ]);
    }
    out
}

/// One line for each rule and each piece of evidence about it.
pub(super) fn trace_csv(report: &Report) -> String {
    let mut out = String::from(
        "driveline,rule,requirement,hazard,limit_from,code,code_line,test,test_file,evidence,\
         evidence_detail,result,nearest_subject,worst,limit,unit,used_share,rule_result\r\n",
    );
    for requirement in requirements(report) {
        let s = &requirement.section;
        let code_line = excerpt(s).map_or(String::new(), |code| code.line.to_string());
        for piece in &requirement.pieces {
            let near = piece.nearest.as_ref();
            let of = |value: fn(&super::trace::Nearest) -> f64| {
                near.map(value).filter(|v| v.is_finite()).map_or(String::new(), number)
            };
            out += &line(&[
                report.subject.driveline.name.clone(),
                s.id.clone(),
                s.says.clone(),
                s.hazard.clone(),
                s.limit.clone(),
                s.code.clone(),
                code_line.clone(),
                s.test.clone(),
                s.test_file.clone(),
                piece.by.into(),
                piece.what.clone(),
                piece.says.word().into(),
                near.map_or(String::new(), |n| n.subject.clone()),
                of(|n| n.worst),
                of(|n| n.limit),
                near.map_or(String::new(), |n| n.unit.clone()),
                of(|n| n.used),
                requirement.result().word().into(),
            ]);
        }
    }
    out
}
