//! Remaining times that are possible side by side, as long as it is not known which bank there is
//! or how full it was. What is recorded spans them; what is
//! shown and what warns goes by the more cautious.

use alloc::vec::Vec;

use crate::{
    belief::{PLAUSIBLE, Story},
    forecast::Spread,
    units::{Seconds, Share},
};

/// One story's remaining time.
#[derive(Clone, Debug)]
pub(super) struct One {
    pub(super) story: Story,
    /// Its weight among those that no word has ruled out.
    pub(super) weight: f64,
    pub(super) spread: Spread,
}

/// The remaining time by each story.
#[derive(Clone, Debug, Default)]
pub(super) struct Possible {
    all: Vec<One>,
}

impl Possible {
    pub(super) fn new(all: impl IntoIterator<Item = (Story, f64, Spread)>) -> Self {
        let one = |(story, weight, spread)| One { story, weight, spread };
        Self { all: all.into_iter().map(one).collect() }
    }

    /// All of them changed alike.
    pub(super) fn map(self, change: impl Fn(&Spread) -> Spread) -> Self {
        let one = |one: One| One { spread: change(&one.spread), ..one };
        Self { all: self.all.into_iter().map(one).collect() }
    }

    /// Those that are worth showing; where all are unlikely, the likeliest.
    pub(super) fn plausible(&self) -> impl Iterator<Item = &One> {
        self.those(false)
    }

    /// Those that are worth showing, or all that no word has ruled out.
    pub(super) fn those(&self, all: bool) -> impl Iterator<Item = &One> {
        let best = self.all.iter().map(|one| one.weight).fold(0.0, f64::max);
        let least = if all { 0.0 } else { PLAUSIBLE.min(best) };
        self.all.iter().filter(move |one| one.weight >= least)
    }

    /// The least of each of 10 %, 50 %, 90 %: the case that counts, of those worth showing or of `all` that
    /// no word has ruled out.
    pub(super) fn cautious(&self, all: bool) -> Option<[Seconds; 3]> {
        let lowest = |share| least(self.those(all).filter_map(|one| at(&one.spread, share)));
        Some([lowest(0.1)?, lowest(0.5)?, lowest(0.9)?])
    }

    /// 10 %, 50 %, 90 %: the lowest low end, the middle of the mixture, the highest high end.
    pub(super) fn points(&self) -> Option<[Seconds; 3]> {
        Some([self.lowest(0.1)?, self.middle()?, self.highest(0.9)?])
    }

    /// The earliest time by which this share has ended, of those worth showing.
    pub(super) fn lowest(&self, share: f64) -> Option<Seconds> {
        least(self.plausible().filter_map(|one| at(&one.spread, share)))
    }

    /// The same of all that no word has ruled out, however unlikely.
    pub(super) fn lowest_of_all(&self, share: f64) -> Option<Seconds> {
        least(self.all.iter().filter_map(|one| at(&one.spread, share)))
    }

    fn highest(&self, share: f64) -> Option<Seconds> {
        let times = self.plausible().filter_map(|one| at(&one.spread, share));
        times.reduce(|a, b| if b > a { b } else { a })
    }

    /// The middle of the mixture: found by halving between the outermost middles.
    fn middle(&self) -> Option<Seconds> {
        let mut shown = self.plausible();
        if let (Some(only), None) = (shown.next(), shown.next()) {
            return at(&only.spread, 0.5);
        }
        let (mut low, mut high) = (self.lowest(0.5)?, self.highest(0.5)?);
        let total: f64 = self.plausible().map(|one| one.weight).sum();
        for _ in 0..24 {
            let middle = (low + high) * 0.5;
            let alive =
                |one: &One| one.weight * one.spread.chance_beyond(middle).map_or(0.0, Share::part);
            let beyond: f64 = self.plausible().map(alive).sum();
            if beyond > 0.5 * total { low = middle } else { high = middle }
        }
        Some(low)
    }

    /// The chance to outlive `then`, given being alive after `so_far`: by the most cautious story
    /// worth showing, or of `all` that no word has ruled out.
    pub(super) fn chance(&self, then: Seconds, so_far: Seconds, all: bool) -> Option<Share> {
        let of = |one: &One| {
            let beyond = |span| one.spread.chance_beyond(span).map(Share::part);
            let (then, so_far) = (beyond(then)?, beyond(so_far)?);
            Some(if so_far > 0.0 { then / so_far } else { 0.0 })
        };
        self.those(all).filter_map(of).reduce(f64::min).map(Share::nearest)
    }
}

/// A time of one distribution.
pub(super) fn at(spread: &Spread, share: f64) -> Option<Seconds> {
    spread.quantile(Share::nearest(share))
}

fn least(times: impl Iterator<Item = Seconds>) -> Option<Seconds> {
    times.reduce(|a, b| if b < a { b } else { a })
}
