//! OpenMetrics 1.0, as its specification describes the text format.

use std::collections::HashMap;

use crate::{rig::Rig, scenes};

/// Every rule of the standard's text format that applies to gauges and counters.
fn read(text: &str) -> HashMap<String, f64> {
    let mut samples = HashMap::new();
    let mut family: Option<(String, String)> = None;
    let mut units = HashMap::new();
    let mut seen = Vec::new();
    // 'Expositions MUST END WITH EOF'; lines end with a line feed only.
    let body = text.strip_suffix("# EOF\n").expect("no end mark");
    for line in body.lines() {
        if let Some(rest) = line.strip_prefix("# TYPE ") {
            let (name, kind) = rest.split_once(' ').unwrap();
            assert!(["gauge", "counter"].contains(&kind), "{line}");
            // 'MetricFamilies MUST NOT be interleaved', and names are unique.
            assert!(!seen.contains(&name.to_owned()), "{name} twice");
            seen.push(name.to_owned());
            family = Some((name.to_owned(), kind.to_owned()));
        } else if let Some(rest) = line.strip_prefix("# UNIT ") {
            let (name, unit) = rest.split_once(' ').unwrap();
            // 'If a unit is specified it MUST be a suffix of the MetricFamily name.'
            assert!(name.ends_with(&format!("_{unit}")), "{line}");
            units.insert(name.to_owned(), unit.to_owned());
        } else if let Some(rest) = line.strip_prefix("# HELP ") {
            let (name, help) = rest.split_once(' ').unwrap();
            assert_eq!(name, family.as_ref().unwrap().0);
            assert!(!help.is_empty());
        } else {
            let (name, value) = line.rsplit_once(' ').unwrap();
            let (of, kind) = family.as_ref().expect("a sample before its family");
            let bare = name.split('{').next().unwrap();
            let want = if kind == "counter" { format!("{of}_total") } else { of.clone() };
            assert_eq!(bare, want, "{line}");
            let value: f64 = value.parse().unwrap();
            assert!(
                value.is_finite() && samples.insert(name.to_owned(), value).is_none(),
                "{line}"
            );
        }
    }
    samples
}

#[tokio::test]
async fn what_is_known_is_there_and_what_is_not_is_left_out() {
    for scene in scenes::ALL {
        let got = Rig::of(scene).get("/metrics").await;
        assert_eq!(
            got.header("content-type"),
            "application/openmetrics-text; version=1.0.0; charset=utf-8"
        );
        read(&got.text);
    }
    let fine = read(&Rig::of("fine").get("/metrics").await.text);
    assert_eq!(fine["outlast_supply_volts"], 5.08);
    assert!((fine["outlast_remaining_seconds{share=\"0.5\"}"] - 6.67 * 3600.0).abs() < 1.0);
    assert_eq!(fine["outlast_missed_sweeps_total"], 0.0);
    let blind = read(&Rig::of("blind").get("/metrics").await.text);
    assert!(!blind.contains_key("outlast_supply_volts"), "a gap is no zero");
    assert!(!blind.contains_key("outlast_remaining_seconds{share=\"0.5\"}"));
}
