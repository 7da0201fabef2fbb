//! `outlast plan`: how long a bank will last for what is planned.

use std::fs;

use reckon::{
    estimator::Learned,
    plan::{self, Description, Given, Known, Place},
    words,
};
use serde_json::json;
use toml::{
    Spanned,
    de::{DeTable, DeValue},
};

use crate::commands::{cli, failed::Failed, replay};

/// Works the plan out and prints it.
///
/// # Errors
/// What is wrong with the plan or a recording, as sentences.
pub(crate) fn run(args: &cli::Plan) -> Result<(), Failed> {
    let bytes = fs::read(&args.plan)
        .map_err(|why| words::terminal::unreadable(&args.plan.display(), &why))?;
    let text = String::from_utf8_lossy(&bytes);
    let described = described(&text).map_err(Failed::wrong_use)?;
    let (mut plan, _assumed) = described.complete(&Known::default()).map_err(|faults| {
        let all: Vec<String> = faults
            .iter()
            .map(|f| format!("{}.{}: {}", f.place.table, f.place.key, f.want))
            .collect();
        Failed::wrong_use(all.join("\n"))
    })?;
    let mut learned = Learned::default();
    for text in &args.learn {
        let told = replay::told(text).map_err(Failed::wrong_use)?;
        let bank = plan.banks[0].spec.clone();
        let (_, rundown) = replay::play(&told, &bank, &plan.load, &learned, |_, _| Ok(()))
            .map_err(|trouble| match trouble {
                replay::Trouble::Input(say) => Failed::from(say),
                replay::Trouble::Print(why) => Failed::from(why.to_string()),
            })?;
        learned.credit(&rundown);
    }
    plan.banks[0].learned = learned;
    let answer = plan::answer(&plan, &[]);
    let three = |[p10, p50, p90]: [f64; 3]| json!({ "p10": p10, "p50": p50, "p90": p90 });
    println!(
        "{}",
        json!({
            "lasts_s": three(answer.lasts.map(|s| s.si())),
            "chance_of_finish": answer.chance_of_finish.part(),
            "energy_wh": three(answer.energy_wh),
            "draw_w": answer.draw_w,
            "e50": answer.energy_wh[1],
        })
    );
    Ok(())
}

fn described(text: &str) -> Result<Description, String> {
    let root = DeTable::parse(text).map_err(|why| why.to_string())?;
    let mut description = Description::default();
    table(&mut description, "", 0, root.get_ref());
    Ok(description)
}

fn table(into: &mut Description, name: &str, nth: usize, rows: &DeTable<'_>) {
    for (key, value) in rows {
        match value.get_ref() {
            DeValue::Table(inner) if name.is_empty() => table(into, key.get_ref(), 0, inner),
            DeValue::Array(all)
                if name.is_empty() && all.iter().all(|one| one.get_ref().is_table()) =>
            {
                for (nth, one) in all.iter().enumerate() {
                    if let DeValue::Table(inner) = one.get_ref() {
                        table(into, key.get_ref(), nth, inner);
                    }
                }
            }
            _ => {
                let place = Place { table: name.to_owned(), nth, key: key.get_ref().to_string() };
                into.take(place, given(value));
            }
        }
    }
}

fn given(value: &Spanned<DeValue<'_>>) -> Given {
    match value.get_ref() {
        DeValue::Boolean(flag) => Given::Flag(*flag),
        DeValue::String(text) => Given::Text(text.to_string()),
        DeValue::Float(x) => x.as_str().parse().map_or(Given::Else, Given::Number),
        DeValue::Integer(x) => x.as_str().parse().map_or(Given::Else, Given::Number),
        DeValue::Array(all) => {
            let numbers = all.iter().map(|one| match given(one) {
                Given::Number(x) => Some(x),
                _ => None,
            });
            numbers.collect::<Option<Vec<f64>>>().map_or(Given::Else, Given::Numbers)
        }
        _ => Given::Else,
    }
}
