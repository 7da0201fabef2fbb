//! Walks a TOML file key by key and notes every complaint with its line, so that all mistakes are
//! said at once. Knows nothing of what the keys mean.

use std::{cell::RefCell, collections::BTreeSet, fmt, ops::Range};

use reckon::{name, words};
use toml::{
    Spanned,
    de::{DeTable, DeValue},
};

/// One thing that is wrong with the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Complaint {
    /// Line in the file, from 1.
    pub(crate) line: usize,
    /// The key with its table, such as `bank.series`.
    pub(crate) key: String,
    /// What stands there, as written.
    pub(crate) value: Option<String>,
    /// What is wanted instead, and where to find it.
    pub(crate) want: String,
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: ", self.line)?;
        match &self.value {
            Some(value) => write!(f, "{} = {value}: ", self.key)?,
            None => write!(f, "{}: ", self.key)?,
        }
        f.write_str(&self.want)
    }
}

/// A number's limits.
#[derive(Clone, Copy)]
pub(crate) struct Limits {
    /// Smallest allowed.
    pub(crate) low: f64,
    /// Whether `low` itself is allowed.
    pub(crate) low_too: bool,
    /// Largest allowed.
    pub(crate) high: f64,
    /// Unit, for the sentence.
    pub(crate) unit: &'static str,
}

impl Limits {
    /// From `low` to `high`, both allowed.
    pub(crate) const fn from(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, low_too: true, high, unit }
    }

    /// More than nothing, at most `high`.
    pub(crate) const fn up_to(high: f64, unit: &'static str) -> Self {
        Self { low: 0.0, low_too: false, high, unit }
    }

    fn hold(self, x: f64) -> bool {
        x.is_finite() && x <= self.high && if self.low_too { x >= self.low } else { x > self.low }
    }
}

impl fmt::Display for Limits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { low, high, unit, .. } = self;
        let space = if unit.is_empty() { "" } else { " " };
        if self.low_too {
            write!(f, "want {low} to {high}{space}{unit}")
        } else {
            write!(f, "{}", words::settings::want_more_than(&low, &high, &space, &unit))
        }
    }
}

/// The file and what has been found wrong with it.
pub(crate) struct Sheet<'a> {
    text: &'a str,
    complaints: RefCell<Vec<Complaint>>,
}

impl<'a> Sheet<'a> {
    /// Of this text, nothing wrong yet.
    pub(crate) fn new(text: &'a str) -> Self {
        Self { text, complaints: RefCell::default() }
    }

    /// Notes what the TOML parser itself could not read.
    pub(crate) fn unreadable(&self, error: &toml::de::Error) {
        let at = error.span().unwrap_or(0..0);
        self.complain(&at, "this line", None, words::settings::not_toml(&error.message()));
    }

    /// The top of the file.
    pub(crate) fn top(&'a self, root: &'a DeTable<'a>) -> Table<'a> {
        Table { path: String::new(), at: 0..0, rows: root, asked: BTreeSet::new(), sheet: self }
    }

    /// Every complaint, in the order of the file.
    pub(crate) fn complaints(self) -> Vec<Complaint> {
        let mut all = self.complaints.into_inner();
        all.sort_by_key(|c| c.line);
        all
    }

    fn complain(&self, at: &Range<usize>, key: &str, value: Option<String>, want: String) {
        let line = line_of(self.text, at.start);
        self.complaints.borrow_mut().push(Complaint { line, key: key.to_owned(), value, want });
    }
}

/// The line of a place in a text, from 1.
pub(crate) fn line_of(text: &str, at: usize) -> usize {
    text.get(..at).unwrap_or(text).matches('\n').count() + 1
}

/// What stands in the file there, cut to a length that a sentence can bear.
pub(crate) fn written(text: &str, at: &Range<usize>) -> String {
    let all = text.get(at.clone()).unwrap_or("");
    let first = all.lines().next().unwrap_or("");
    let mut short: String = first.chars().filter(|c| name::is_plain(*c)).take(40).collect();
    if short.len() < all.trim_end().len() {
        short.push('…');
    }
    short
}

/// One table of the file; remembers which keys were asked for, so that the rest are refused.
pub(crate) struct Table<'a> {
    path: String,
    at: Range<usize>,
    rows: &'a DeTable<'a>,
    asked: BTreeSet<&'static str>,
    sheet: &'a Sheet<'a>,
}

impl<'a> Table<'a> {
    fn take(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.insert(key);
        self.rows.iter().find(|(k, _)| k.get_ref() == key).map(|(_, v)| v)
    }

    fn full(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn refuse(&self, key: &str, value: &Spanned<DeValue<'_>>, want: String) {
        let at = value.span();
        self.sheet.complain(&at, &self.full(key), Some(written(self.sheet.text, &at)), want);
    }

    /// Whether the key stands there, sound or not.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.rows.iter().any(|(k, _)| k.get_ref() == key)
    }

    /// Complains about a key that is there, after a check of the caller's own.
    pub(crate) fn complain(&self, key: &str, want: String) {
        match self.rows.iter().find(|(k, _)| k.get_ref() == key) {
            Some((_, value)) => self.refuse(key, value, want),
            None => self.sheet.complain(&self.at, &self.full(key), None, want),
        }
    }

    /// A number within limits.
    pub(crate) fn number(&mut self, key: &'static str, limits: Limits, hint: &str) -> Option<f64> {
        let value = self.take(key)?;
        let x = number_of(value).filter(|&x| limits.hold(x));
        if x.is_none() {
            self.refuse(key, value, format!("{limits}. {hint}"));
        }
        x
    }

    /// A whole number within limits.
    pub(crate) fn whole(
        &mut self,
        key: &'static str,
        low: u16,
        high: u16,
        hint: &str,
    ) -> Option<u16> {
        let value = self.take(key)?;
        let n = match value.get_ref() {
            DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok(),
            _ => None,
        };
        let n = n.and_then(|n| u16::try_from(n).ok()).filter(|n| (low..=high).contains(n));
        if n.is_none() {
            self.refuse(key, value, words::settings::want_whole(&low, &high, &hint));
        }
        n
    }

    /// Yes or no.
    pub(crate) fn flag(&mut self, key: &'static str, hint: &str) -> Option<bool> {
        let value = self.take(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.refuse(key, value, words::settings::want_bool(&hint));
        }
        flag
    }

    /// A list of at most `most` whole numbers within limits.
    pub(crate) fn wholes(
        &mut self,
        key: &'static str,
        most: usize,
        (low, high): (u16, u16),
        hint: &str,
    ) -> Option<Vec<u16>> {
        let value = self.take(key)?;
        let whole = |v: &Spanned<DeValue<'_>>| match v.get_ref() {
            DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
                .ok()
                .and_then(|n| u16::try_from(n).ok())
                .filter(|n| (low..=high).contains(n)),
            _ => None,
        };
        let list = value.get_ref().as_array().filter(|rows| rows.len() <= most);
        let list = list.and_then(|rows| rows.iter().map(whole).collect::<Option<Vec<_>>>());
        if list.is_none() {
            let want = words::settings::want_whole_list(&most, &low, &high, &hint);
            self.refuse(key, value, want);
        }
        list
    }

    /// A number, or NaN where something else stands: for somebody who judges it.
    pub(crate) fn any_number(&mut self, key: &'static str) -> Option<f64> {
        Some(number_of(self.take(key)?).unwrap_or(f64::NAN))
    }

    /// A text, or one that is no name where something else stands: for somebody who judges it.
    pub(crate) fn any_text(&mut self, key: &'static str) -> Option<String> {
        Some(self.take(key)?.get_ref().as_str().unwrap_or("\0").to_owned())
    }

    /// A name.
    pub(crate) fn text(&mut self, key: &'static str, hint: &str) -> Option<String> {
        let value = self.take(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.refuse(key, value, words::settings::want_text(&hint));
            return None;
        };
        let refuse = |fault| self.refuse(key, value, words::settings::bad_name(fault, &hint));
        name::checked(text).map_err(refuse).ok()
    }

    /// A text that `parse` understands.
    pub(crate) fn parsed<T>(
        &mut self,
        key: &'static str,
        want: &str,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let value = self.take(key)?;
        let found = value.get_ref().as_str().and_then(parse);
        if found.is_none() {
            self.refuse(key, value, format!("want {want}"));
        }
        found
    }

    /// One of a few words.
    pub(crate) fn one_of<T: Copy>(
        &mut self,
        key: &'static str,
        words: &[(&str, T)],
        hint: &str,
    ) -> Option<T> {
        let list = words.iter().map(|(w, _)| format!("\"{w}\"")).collect::<Vec<_>>().join(", ");
        self.parsed(key, &format!("one of {list}. {hint}"), |text| {
            words.iter().find(|(w, _)| *w == text).map(|&(_, t)| t)
        })
    }

    /// A list of at most `most` texts, each different.
    pub(crate) fn texts(
        &mut self,
        key: &'static str,
        most: usize,
        hint: &str,
    ) -> Option<Vec<String>> {
        let value = self.take(key)?;
        let list = value.get_ref().as_array().and_then(|rows| {
            rows.iter()
                .map(|v| v.get_ref().as_str().and_then(|text| name::checked(text).ok()))
                .collect::<Option<Vec<_>>>()
        });
        let list = list.filter(|l| l.len() <= most && all_different(l));
        if list.is_none() {
            let want = words::settings::want_texts(&most, &hint);
            self.refuse(key, value, want);
        }
        list
    }

    /// A table inside this one.
    pub(crate) fn table(&mut self, key: &'static str) -> Option<Table<'a>> {
        let value = self.take(key)?;
        let inner = self.inner(self.full(key), value);
        if inner.is_none() {
            self.refuse(key, value, words::settings::want_table(&key));
        }
        inner
    }

    /// A list of tables, each begun with `[[key]]`.
    pub(crate) fn tables(&mut self, key: &'static str, most: usize) -> Vec<Table<'a>> {
        let Some(value) = self.take(key) else { return Vec::new() };
        let rows = value.get_ref().as_array().filter(|rows| rows.len() <= most);
        let tables = rows.and_then(|rows| {
            let place = |(i, v)| self.inner(format!("{key}[{i}]"), v);
            rows.iter().enumerate().map(place).collect::<Option<Vec<_>>>()
        });
        tables.unwrap_or_else(|| {
            self.refuse(key, value, words::settings::want_tables(&most, &key));
            Vec::new()
        })
    }

    fn inner(&self, path: String, value: &'a Spanned<DeValue<'a>>) -> Option<Table<'a>> {
        let rows = value.get_ref().as_table()?;
        Some(Table { path, at: value.span(), rows, asked: BTreeSet::new(), sheet: self.sheet })
    }

    /// Refuses every key that nobody asked for.
    pub(crate) fn done(self) {
        for (key, _) in self.rows.iter().filter(|(k, _)| !self.asked.contains(k.get_ref().as_ref()))
        {
            let name = key.get_ref();
            let want = match nearest(name, &self.asked) {
                Some(near) => words::settings::did_you_mean(&near),
                None => {
                    let known = self.asked.iter().copied().collect::<Vec<_>>().join(", ");
                    words::settings::no_such_key(&known)
                }
            };
            self.sheet.complain(&key.span(), &self.full(name), None, want);
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "every range ends far below 2^53")]
fn as_f64(n: i64) -> f64 {
    n as f64
}

/// A number, whole or not.
pub(crate) fn number_of(value: &Spanned<DeValue<'_>>) -> Option<f64> {
    match value.get_ref() {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(as_f64),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
}

fn all_different(list: &[String]) -> bool {
    list.iter().collect::<BTreeSet<_>>().len() == list.len()
}

fn nearest(name: &str, known: &BTreeSet<&'static str>) -> Option<&'static str> {
    let scored = known.iter().map(|k| (strsim::jaro_winkler(name, k), *k));
    scored.filter(|(s, _)| *s > 0.8).max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, k)| k)
}
