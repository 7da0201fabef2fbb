//! What working a plan out costs, changes and all: time of each, and the most memory the process had. Run it with
//! `cargo run --release -p reckon --example plan_cost`.

use std::{fs, time::Duration, time::Instant};

use reckon::{
    bank::BankSpec,
    estimator::Learned,
    plan::{Answer, Description, Given, Known, Place, answer},
    units::AmpHours,
};

/// So often each is worked out.
const TIMES: usize = 40;

fn main() {
    let others = |count: usize| Known { banks: (0..count).map(bank).collect(), ..Known::default() };
    println!("most memory before: {}", most_memory());
    for (name, plan, known) in [
        ("one bank, three stretches", described(1, 3, false), others(0)),
        ("three banks, three stretches, sun, two others known", described(3, 3, true), others(2)),
        (
            "the largest: four banks, 200 stretches, sun, many known",
            described(4, 200, true),
            others(50),
        ),
    ] {
        cost(name, &plan, &known);
    }
}

/// A bank of the record.
fn bank(nth: usize) -> (BankSpec, Learned) {
    let mut spec = BankSpec::common().swap_remove(0);
    spec.name = format!("Shelf {nth}");
    spec.label = AmpHours::of(5.0 + 0.5 * nth as f64);
    (spec, Learned::default())
}

fn described(banks: usize, stretches: usize, sun: bool) -> Description {
    let mut all = Description::default();
    let mut put = |table: &str, nth, key: &str, given| {
        all.take(Place { table: table.to_owned(), nth, key: key.to_owned() }, given);
    };
    let number = Given::Number;
    put("", 0, "reserve_h", number(1.0));
    put("", 0, "ambient_c", number(4.0));
    for nth in 0..banks {
        put("bank", nth, "name", Given::Text(format!("Bank {nth}")));
        put("bank", nth, "label_mah", number(10_000.0));
        if nth == 2 {
            put("bank", nth, "feeds", Given::Text("radio".to_owned()));
        }
    }
    put("draw", 0, "idle_w", number(1.6));
    put("draw", 0, "full_w", number(4.0));
    put("draw", 0, "radio_receive_a", number(0.1));
    put("draw", 0, "radio_transmit_a", number(1.5));
    put("draw", 0, "radio_v", number(12.0));
    for nth in 0..stretches {
        put("stretch", nth, "hours", number(if stretches > 10 { 0.2 } else { 3.0 }));
        put("stretch", nth, "busy", number(0.05 + 0.3 * (nth % 3) as f64));
        put("stretch", nth, "sent", number(0.1 * (nth % 2) as f64));
    }
    if sun {
        put("sun", 0, "panel_w", number(10.0));
        put("sun", 0, "latitude_deg", number(50.0));
        put("sun", 0, "longitude_deg", number(10.0));
        put("sun", 0, "from", Given::Text("2026-06-21T06:00:00Z".to_owned()));
    }
    all
}

fn cost(name: &str, described: &Description, known: &Known) {
    let mut spans: Vec<Duration> = Vec::new();
    let mut found: Option<Answer> = None;
    for _ in 0..TIMES {
        let began = Instant::now();
        let Ok((plan, _)) = described.clone().complete(known) else {
            println!("{name}: refused");
            return;
        };
        found = Some(answer(&plan, &known.others(&plan)));
        spans.push(began.elapsed());
    }
    spans.sort_unstable();
    let ms = |span: Duration| span.as_secs_f64() * 1e3;
    let hours = found.map_or([0.0; 3], |found| found.lasts.map(|end| end.si() / 3600.0));
    println!("{name}: it lasts {:.1} h, {:.1} to {:.1} h", hours[1], hours[0], hours[2]);
    println!(
        "  {TIMES} times: median {:.2} ms, longest {:.2} ms; most memory until then {}",
        ms(spans[TIMES / 2]),
        ms(spans[TIMES - 1]),
        most_memory(),
    );
}

/// The most that was resident, as Linux counts it (proc(5), `VmHWM`).
fn most_memory() -> String {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |kib| kib.trim().to_owned())
}
