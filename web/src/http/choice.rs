//! What was tapped on a phone that is not paired yet. The page where the code is typed carries it,
//! and the right code carries it out; what cannot be undone is asked again instead.
//!
//! It comes only by a form of our own page ([`guard`] has looked at that), it is one of the
//! addresses below, and it is nothing but an address and the fields of a short form: what is asked
//! for is judged when it is carried out, as if it came then.
//!
//! [`guard`]: crate::http::guard

use axum::{
    body::{Body, to_bytes},
    extract::{Query, Request},
    http::{HeaderValue, Method, Uri, header, request::Parts},
};
use reckon::{
    belief::{Answer, Question},
    name,
    snapshot::Snapshot,
    units::Seconds,
    words,
};

/// The longest form that is carried, bytes: every form here but a list of times and a long mark in
/// a script with long letters.
const MOST_BYTES: usize = 2048;

/// Addresses whose forms are carried; `#` is a number.
const CARRIED: [&str; 23] = [
    "/activity",
    "/alarm",
    "/answer",
    "/bank",
    "/banks",
    "/banks/#/forget",
    "/banks/#/name",
    "/banks/#/test",
    "/clock/set",
    "/finish",
    "/mark",
    "/outing",
    "/outings/#/contacts/forget",
    "/outings/#/doing",
    "/outings/#/doing/back",
    "/outings/#/doing/contacts",
    "/outings/#/ending",
    "/outings/#/goes-on",
    "/outings/#/name",
    "/plan/start",
    "/power-off",
    "/rundowns/#/strike",
    "/test/stop",
];

/// A tapped form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Choice {
    /// Its address, and that with `#` for its number.
    path: String,
    kind: &'static str,
    /// Its fields, urlencoded.
    fields: String,
}

impl Choice {
    /// The form that this request sends, where it can be carried.
    pub(crate) async fn of(request: Request) -> Option<Self> {
        let (parts, body) = request.into_parts();
        let kind = parts.headers.get(header::CONTENT_TYPE)?.to_str().ok()?;
        if !kind.starts_with("application/x-www-form-urlencoded") {
            return None;
        }
        let fields = to_bytes(body, MOST_BYTES).await.ok()?;
        Self::known(parts.uri.path(), std::str::from_utf8(&fields).ok()?)
    }

    /// As the page of the code carried it.
    pub(crate) fn read(carried: &str) -> Option<Self> {
        let (path, fields) = carried.split_once('?')?;
        Self::known(path, fields)
    }

    /// For that page.
    pub(crate) fn carried(&self) -> String {
        format!("{}?{}", self.path, self.fields)
    }

    fn known(path: &str, fields: &str) -> Option<Self> {
        let number = |part: &str| !part.is_empty() && part.bytes().all(|it| it.is_ascii_digit());
        let parts: Vec<&str> = path.split('/').collect();
        let is = |kind: &&&str| {
            let wanted: Vec<&str> = kind.split('/').collect();
            let mut both = wanted.iter().zip(&parts);
            wanted.len() == parts.len()
                && both.all(|(want, part)| want == part || (*want == "#" && number(part)))
        };
        let kind = CARRIED.iter().find(is)?;
        let plain = fields.bytes().all(|it| it.is_ascii_graphic() && it != b'#');
        let fits = fields.len() <= MOST_BYTES && plain;
        fits.then(|| Self { path: path.to_owned(), kind, fields: fields.to_owned() })
    }

    /// The page that asks for it once more, where it is too grave to be done without.
    pub(crate) fn asked_again(&self) -> Option<String> {
        match self.kind {
            "/power-off" if self.field("wish").as_deref() != Some("stop") => Some("/".to_owned()),
            "/banks/#/forget" if self.field("forgotten").as_deref() != Some("no") => {
                Some(self.path.clone())
            }
            "/banks/#/test" => Some(self.path.clone()),
            "/outings/#/contacts/forget" => {
                let outing = self.path.split('/').nth(2).unwrap_or_default();
                Some(format!("/contacts?outing={outing}"))
            }
            "/clock/set" => Some("/station".to_owned()),
            _ => None,
        }
    }

    /// The form as a request, sent in the place of that with this head.
    pub(crate) fn request(self, mut parts: Parts) -> Option<Request> {
        parts.method = Method::POST;
        parts.uri = self.path.parse().ok()?;
        let form = HeaderValue::from_static("application/x-www-form-urlencoded");
        parts.headers.insert(header::CONTENT_TYPE, form);
        parts.headers.remove(header::CONTENT_LENGTH);
        Some(Request::from_parts(parts, Body::from(self.fields)))
    }

    fn field(&self, name: &str) -> Option<String> {
        let uri: Uri = format!("/?{}", self.fields).parse().ok()?;
        let Query(all) = Query::<Vec<(String, String)>>::try_from_uri(&uri).ok()?;
        all.into_iter().find_map(|(key, value)| (key == name).then_some(value))
    }

    /// The same where it can stand in a sentence.
    fn name(&self, field: &str) -> Option<String> {
        let text = name::line(&self.field(field)?, name::LONGEST).ok()?;
        Some(text).filter(|text| !text.is_empty())
    }

    fn span_min(&self, field: &str) -> Option<(f64, String)> {
        let min: f64 = self.field(field)?.parse().ok().filter(|min: &f64| min.is_finite())?;
        Some((min, words::span(Seconds::of(min.abs() * 60.0))))
    }

    /// What comes after the code, as a sentence.
    pub(crate) fn said(&self, snapshot: &Snapshot) -> String {
        let what = self.what(snapshot);
        if self.asked_again().is_some() {
            words::phone::then_asked(&what)
        } else if self.kind == "/power-off" {
            words::phone::then_in_time(&what)
        } else {
            words::phone::then(&what)
        }
    }

    /// What was tapped, in the words of its button.
    fn what(&self, snapshot: &Snapshot) -> String {
        let now = &words::ENGLISH.now;
        let named = |field: &str, unnamed: &str, said: fn(&dyn std::fmt::Display) -> String| {
            self.name(field).map_or_else(|| unnamed.to_owned(), |name| said(&name))
        };
        match self.kind {
            "/activity" if self.field("itself").is_some() => now.by_itself.to_owned(),
            "/activity" => named("name", words::phone::NO_ACTIVITY, words::phone::tapped_activity),
            "/alarm" => now.quiet_an_hour.to_owned(),
            "/answer" => self.answer(snapshot),
            "/bank" => self
                .name("bank")
                .or_else(|| self.name("name"))
                .map_or_else(|| words::phone::THE_BANK.to_owned(), |it| words::phone::connect(&it)),
            "/banks" => named("name", words::phone::THE_BANK, words::phone::save_bank),
            "/banks/#/forget" if self.asked_again().is_none() => words::phone::OFFER.to_owned(),
            "/banks/#/name" | "/outings/#/name" | "/outing" => {
                named("name", words::phone::THE_NAME, words::phone::name_it)
            }
            "/finish" => self.finish(),
            "/mark" => named("text", words::phone::MARK, words::phone::mark),
            "/power-off" if self.asked_again().is_none() => now.keep_running.to_owned(),
            "/power-off" => now.switch_off.to_owned(),
            kind => general(kind).to_owned(),
        }
    }

    fn finish(&self) -> String {
        if self.field("clear").is_some() {
            return words::ENGLISH.now.no_finish.to_owned();
        }
        if let Some((_, span)) = self.span_min("after_min") {
            return words::phone::finish_in(&span);
        }
        match (self.span_min("shift_min"), self.name("at")) {
            (Some((min, span)), _) if min < 0.0 => words::phone::finish_earlier(&span),
            (Some((_, span)), _) => words::phone::finish_later(&span),
            (None, Some(at)) => words::phone::finish_at(&at),
            (None, None) => words::phone::THE_FINISH.to_owned(),
        }
    }

    fn answer(&self, snapshot: &Snapshot) -> String {
        let question = self.field("question").and_then(|name| Question::named(&name));
        let answer = self.field("answer").and_then(|name| Answer::named(&name));
        let view = snapshot.questions.iter().find(|view| Some(view.question) == question);
        let said = view.zip(answer).and_then(|(view, answer)| {
            let asked = words::question::asked(view, snapshot);
            asked.answers.into_iter().find_map(|(it, said, _)| (it == answer).then_some(said))
        });
        said.unwrap_or_else(|| words::phone::YOUR_ANSWER.to_owned())
    }
}

/// What the forms of this address are for.
fn general(kind: &str) -> &'static str {
    match kind {
        "/banks/#/forget" => words::phone::FORGET_BANK,
        "/banks/#/test" => words::phone::START_TEST,
        "/plan/start" => words::phone::START_OUTING,
        "/test/stop" => words::phone::STOP_TEST,
        "/clock/set" => words::phone::SET_CLOCK,
        "/outings/#/contacts/forget" => words::phone::FORGET_CONTACTS,
        "/outings/#/ending" => words::phone::HOW_ENDED,
        "/outings/#/goes-on" => words::phone::GOES_ON,
        "/rundowns/#/strike" => words::phone::COUNT_OR_NOT,
        _ => words::phone::CORRECTION,
    }
}
