//! A JSON object whose fields stand in the order in which they were added: each is named once, beside
//! where its value comes from. (`serde_json`'s own map sorts them.)

use std::borrow::Cow;

use reckon::{
    reading::{AtLeast, Gap, Got},
    units::{Amps, Celsius, Hertz, Joules, Share, Volts, Watts},
};
use serde::{Serialize, Serializer};
use serde_json::Number;

/// An object.
#[derive(Default)]
pub(crate) struct Object<'a>(Vec<(&'static str, Value<'a>)>);

/// What a field may hold.
#[derive(Serialize)]
#[serde(untagged)]
pub(crate) enum Value<'a> {
    Null,
    Flag(bool),
    Whole(Number),
    /// What is no number is `null`.
    Number(f64),
    /// Single precision: it is only drawn.
    Drawn(f32),
    Text(Cow<'a, str>),
    /// A column of a chart may be long.
    Column(Vec<Option<f64>>),
    List(Vec<Self>),
    Object(Object<'a>),
}

impl Serialize for Object<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}

impl<'a> Object<'a> {
    pub(crate) const fn new() -> Self {
        Self(Vec::new())
    }

    /// One more field.
    pub(crate) fn with(mut self, name: &'static str, value: impl Into<Value<'a>>) -> Self {
        self.0.push((name, value.into()));
        self
    }

    /// The fields of another object.
    pub(crate) fn with_all(mut self, other: Self) -> Self {
        self.0.extend(other.0);
        self
    }

    /// A value, and in a field of its own why there is none.
    pub(crate) fn or_why<T: Into<Value<'a>>>(
        self,
        [name, gap]: [&'static str; 2],
        value: Option<T>,
        why: &'a str,
    ) -> Self {
        let why = value.is_none().then_some(why);
        self.with(name, value).with(gap, why)
    }

    /// A quantity as a bare number, and why it is missing.
    pub(crate) fn reading<T: Bare + Copy>(self, names: [&'static str; 2], got: Got<T>) -> Self {
        self.or_why(names, got.ok().map(Bare::bare), got.err().map_or("", gap_name))
    }

    /// What a channel of the supply reads.
    pub(crate) fn electric(self, volts: Got<Volts>, amps: Got<Amps>, watts: Got<Watts>) -> Self {
        self.reading(["volts_v", "volts_gap"], volts)
            .reading(["current_a", "current_gap"], amps)
            .reading(["power_w", "power_gap"], watts)
    }

    /// What a sensor at the end of its range still says.
    pub(crate) fn at_least(self, bound: Option<AtLeast>) -> Self {
        self.with("current_at_least_a", bound.map(|it| it.amps.si()))
            .with("power_at_least_w", bound.map(|it| it.watts.si()))
    }
}

macro_rules! from {
    ($($type:ty => $case:ident),*) => {
        $(impl<'a> From<$type> for Value<'a> {
            fn from(it: $type) -> Self {
                Self::$case(it.into())
            }
        })*
    };
}
from!(bool => Flag, u8 => Whole, u16 => Whole, u32 => Whole, u64 => Whole, usize => Whole);
from!(i32 => Whole, i64 => Whole, f64 => Number, f32 => Drawn, Object<'a> => Object);
from!(&'a str => Text, &'a String => Text, String => Text);

impl<'a, T: Into<Self>> From<Option<T>> for Value<'a> {
    fn from(it: Option<T>) -> Self {
        it.map_or(Self::Null, Into::into)
    }
}

/// A column of numbers with gaps.
pub(crate) fn column<'a>(all: impl IntoIterator<Item = Option<f64>>) -> Value<'a> {
    Value::Column(all.into_iter().collect())
}

/// A list of what may be in one.
pub(crate) fn list<'a, T: Into<Value<'a>>>(all: impl IntoIterator<Item = T>) -> Value<'a> {
    Value::List(all.into_iter().map(Into::into).collect())
}

/// 10 %, 50 %, 90 % of one distribution.
pub(crate) fn three<'a>([p10, p50, p90]: [f64; 3]) -> Object<'a> {
    Object::new().with("p10", p10).with("p50", p50).with("p90", p90)
}

/// A quantity that is told as a number without its unit, which is in the field's name.
pub(crate) trait Bare {
    fn bare(self) -> f64;
}

macro_rules! bare {
    ($($name:ident: $read:ident),*) => { $(impl Bare for $name { fn bare(self) -> f64 { self.$read() } })* };
}
bare!(Volts: si, Amps: si, Watts: si, Celsius: si, Hertz: si, Joules: wh, Share: part);

pub(crate) const fn gap_name(gap: Gap) -> &'static str {
    match gap {
        Gap::Absent => "absent",
        Gap::NotMeasurable => "not_measurable",
        Gap::SwitchedOff => "switched_off",
        Gap::NotReady => "not_ready",
        Gap::NoAnswer => "no_answer",
        Gap::Gone => "gone",
        Gap::Denied => "denied",
        Gap::Garbled => "garbled",
        Gap::Implausible => "implausible",
        Gap::OverRange => "over_range",
        Gap::Resetting => "resetting",
        Gap::Late => "late",
    }
}
