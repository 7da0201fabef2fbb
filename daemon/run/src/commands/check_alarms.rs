//! `check --alarms`: tries each way out once and says what happened. The board stays on: of the
//! clean power-off only what it needs is looked at.

use std::{path::PathBuf, sync::Arc, time::Duration};

use alert::{ChannelTest, Dispatcher, Lamp, Led, Notification};
use probe::{Sweeper, Want};
use serde::Serialize;

use reckon::words;

use crate::{
    commands::{cli, failed::Failed},
    host::{
        banner::print,
        clock::{Clock, pause},
    },
    settings::Settings,
};

/// How long the LED blinks, so that somebody can look.
const BLINKS: Duration = Duration::from_secs(3);

/// One way out, as JSON; fields are added, never renamed.
#[derive(Serialize)]
struct Line {
    way: String,
    well: bool,
    said: String,
}

impl From<ChannelTest> for Line {
    fn from(tried: ChannelTest) -> Self {
        Self { way: tried.channel, well: tried.well, said: tried.said }
    }
}

/// Tries everything that the settings name; fails if one way out does not work.
pub(crate) fn run(options: &cli::Check, settings: &Settings) -> Result<(), Failed> {
    let lines = lines(options, settings)?;
    if options.json {
        let text = serde_json::to_string_pretty(&lines).map_err(|why| why.to_string())?;
        print(&format!("{text}\n"));
    } else {
        for Line { way, well, said } in &lines {
            print(&format!("{} {way}: {said}\n", if *well { "well  " } else { "FAILED" }));
        }
    }
    let failed = lines.iter().filter(|line| !line.well).count();
    if failed > 0 {
        return Err(Failed::from(words::terminal::channels_failed(&failed, &lines.len())));
    }
    Ok(())
}

fn lines(options: &cli::Check, settings: &Settings) -> Result<Vec<Line>, String> {
    let clock = known_clock(options);
    let at = clock.stamp();
    let text = words::terminal::TEST_OF_WARNINGS;
    let note = Notification::test(&settings.station, text, Some(at), at.mono.as_s());
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|why| words::terminal::no_thread(&why))?;
    let warnings = &settings.warnings;
    let now: alert::Now = Arc::new(move || clock.stamp());
    let (webhooks, commands) = (&warnings.webhooks, &warnings.commands);
    let tried = runtime.block_on(Dispatcher::test_all(webhooks, commands, &note, &now));
    let mut lines: Vec<Line> = tried.into_iter().map(Line::from).collect();
    let root = options.sysroot.clone().unwrap_or_else(|| PathBuf::from("/"));
    if let Some(name) = &warnings.led {
        lines.push(blink(name, &root.join("sys/class/leds").join(name)));
    }
    let unit = alert::unit_is_enabled(&root);
    let said = match (warnings.power_off.limit, unit) {
        (None, _) => words::terminal::LEFT_ON,
        (Some(_), true) => words::terminal::UNIT_ENABLED,
        (Some(_), false) => words::terminal::UNIT_DISABLED,
    };
    // Not a failure: leaving the board on is a choice, and it is said.
    lines.push(Line { way: "Switching off".into(), well: true, said: said.into() });
    tracing::info!(event = "test", "{text}");
    lines.push(Line {
        way: "Journal".into(),
        well: true,
        said: words::terminal::JOURNAL_LINE.into(),
    });
    lines.push(Line { way: "Page".into(), well: true, said: words::terminal::PAGE_WARNS.into() });
    Ok(lines)
}

/// The clock, which knows whether the kernel's is synchronised: certificates go by it.
fn known_clock(options: &cli::Check) -> Clock {
    let (clock, want) =
        (Clock::system(), Want { sysroot: options.sysroot.clone(), ..Want::default() });
    let now = {
        let clock = clock.clone();
        Arc::new(move || clock.mono())
    };
    if Sweeper::new(want, now).sweep(clock.mono()).clock_synchronised == Ok(true) {
        clock.was_synchronised();
    }
    clock
}

fn blink(name: &str, folder: &std::path::Path) -> Line {
    let mut led = Led::new(folder, None);
    let way = format!("LED {name}");
    if let Err(why) = led.show(Lamp::Urgent) {
        return Line { way, well: false, said: format!("{why}.") };
    }
    pause(BLINKS);
    match led.show(Lamp::AsBefore) {
        Ok(()) => Line { way, well: true, said: words::terminal::LED_BLINKED.into() },
        Err(why) => Line { way, well: false, said: format!("{why}.") },
    }
}
