//! The part of the settings that is about warnings: alarms, ways out, the clean power-off.

use std::{
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use alert::{Command, Template, Webhook};
use reckon::{alarm::AlarmWants, power_off::PowerOffWants, units::Amps, words};

use super::sheet::{Limits, Table};

/// What the owner wants of warnings, checked.
#[derive(Clone, Debug, Default)]
pub(crate) struct Warnings {
    /// Rules.
    pub(crate) alarms: AlarmWants,
    /// The clean power-off; whether its unit is installed is found out at the start.
    pub(crate) power_off: PowerOffWants,
    /// Where notes are posted.
    pub(crate) webhooks: Vec<Webhook>,
    /// What is run for each.
    pub(crate) commands: Vec<Command>,
    /// The LED's name in the LED class.
    pub(crate) led: Option<String>,
}

/// Longest address and body.
const LONGEST: usize = 4000;

/// Reads what is about warnings from the top of the file.
pub(super) fn read(top: &mut Table<'_>) -> Warnings {
    let mut warnings = Warnings::default();
    if let Some(table) = top.table("alarms") {
        alarms(table, &mut warnings);
    }
    if let Some(table) = top.table("power_off") {
        power_off(table, &mut warnings.power_off);
    }
    warnings.webhooks = top.tables("webhook", 4).into_iter().filter_map(webhook).collect();
    warnings.commands = top.tables("command", 4).into_iter().filter_map(command).collect();
    warnings
}

fn alarms(mut t: Table<'_>, warnings: &mut Warnings) {
    let hint = words::settings::LIMITS;
    if let Some(limits) = t.wholes("limits_min", 8, (1, 1440), hint) {
        warnings.alarms.limits_min = limits.into_iter().map(u32::from).collect();
    }
    let limits = Limits::from(0.0, 1000.0, "mA");
    if let Some(ma) = t.number("auto_off_ma", limits, words::settings::AUTO_OFF) {
        warnings.alarms.auto_off = Amps::of(ma / 1000.0);
    }
    if let Some(words) = t.texts("timed", 16, words::settings::TIMED) {
        warnings.alarms.timed = words.iter().map(|word| word.to_lowercase()).collect();
    }
    warnings.led = t.parsed("led", words::settings::LED, |name| {
        let sound = !name.is_empty() && !name.contains(['/', '\0']) && !name.starts_with('.');
        sound.then(|| name.to_owned())
    });
    t.done();
}

fn power_off(mut t: Table<'_>, wants: &mut PowerOffWants) {
    if let Some(min) = t.whole("below_min", 0, 60, words::settings::BELOW_MIN) {
        wants.limit = (min > 0).then(|| Duration::from_secs(u64::from(min) * 60));
    }
    if let Some(s) = t.whole("countdown_s", 10, 900, words::settings::COUNTDOWN) {
        wants.countdown = Duration::from_secs(u64::from(s));
    }
    if let Some(too) = t.flag("without_sensor", words::settings::WITHOUT_SENSOR) {
        wants.unmeasured = too;
    }
    t.done();
}

fn webhook(mut t: Table<'_>) -> Option<Webhook> {
    let long = |text: &str| (!text.is_empty() && text.len() <= LONGEST).then(|| text.to_owned());
    let url = t.parsed("url", words::settings::URL, long);
    let body = t.parsed("body", words::settings::BODY, long);
    let json = t.flag("json", words::settings::JSON).unwrap_or(true);
    let headers = t.texts("headers", 8, words::settings::HEADERS).unwrap_or_default();
    let limit = t.whole("limit_s", 1, 60, words::settings::LIMIT_S).unwrap_or(10);
    let ca_file = t.parsed("ca_file", words::settings::CA_FILE, |path| {
        path.starts_with('/').then(|| PathBuf::from(path))
    });
    let mut split = Vec::new();
    for header in &headers {
        match header.split_once(':') {
            Some((name, value)) => split.push((name.trim().to_owned(), value.trim().to_owned())),
            None => t.complain("headers", words::settings::WANT_HEADERS.to_owned()),
        }
    }
    let template = match body.map(|body| Template::parse(&body, json)) {
        None => Some(Template::own()),
        Some(Ok(template)) => Some(template),
        Some(Err(why)) => {
            t.complain("body", why);
            None
        }
    };
    if !t.has("url") {
        t.complain("url", words::settings::URL_MISSING.to_owned());
    }
    let made = url.zip(template).map(|(url, template)| {
        Webhook::new(&url, template, &split, Duration::from_secs(u64::from(limit)))
    });
    let made = match made {
        Some(Ok(webhook)) => match ca_file.filter(|_| webhook.is_encrypted()) {
            Some(file) => own_roots(webhook, &file).map_err(|why| t.complain("ca_file", why)).ok(),
            None => Some(webhook),
        },
        Some(Err(why)) => {
            t.complain("url", why);
            None
        }
        None => None,
    };
    t.done();
    made
}

/// Read now rather than with the first warning, when it would be too late to correct it.
fn own_roots(webhook: Webhook, file: &Path) -> Result<Webhook, String> {
    let pem = fs::read(file).map_err(|why| words::settings::file_unreadable(&why))?;
    webhook.believing_only(&pem)
}

fn command(mut t: Table<'_>) -> Option<Command> {
    let program = t.parsed("program", words::settings::PROGRAM_PATH, |path| {
        path.starts_with('/').then(|| PathBuf::from(path))
    });
    let arguments = t.texts("arguments", 16, words::settings::ARGUMENTS);
    let limit = t.whole("limit_s", 1, 120, words::settings::COMMAND_LIMIT).unwrap_or(10);
    if !t.has("program") {
        t.complain("program", words::settings::COMMAND_MISSING.to_owned());
    }
    t.done();
    let limit = Duration::from_secs(u64::from(limit));
    Command::new(&program?, &arguments.unwrap_or_default(), limit).ok()
}
