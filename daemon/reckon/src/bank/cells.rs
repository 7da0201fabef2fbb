//! What the cells are made of and where the sensor sits: the words for both outside, and what is
//! usual for each.

/// What the cells are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Cells {
    /// Lithium-ion with a cobalt, nickel or manganese cathode.
    #[default]
    LiIon,
    /// Lithium iron phosphate.
    LiFePo4,
    /// Sealed lead-acid.
    LeadAcid,
}

impl Cells {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::LiIon, Self::LiFePo4, Self::LeadAcid];

    /// Its name in settings, forms, JSON and the record.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::LiIon => "li-ion",
            Self::LiFePo4 => "lifepo4",
            Self::LeadAcid => "lead-acid",
        }
    }

    /// The cells of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }

    /// Cells in series where nobody says how many: one (or several in parallel) in a USB bank, four
    /// or six for 12 V (common practice, no source).
    #[must_use]
    pub const fn usual_series(self) -> u8 {
        match self {
            Self::LiIon => 1,
            Self::LiFePo4 => 4,
            Self::LeadAcid => 6,
        }
    }

    /// Volts at which a label means the capacity of one cell, where nobody says: IEC 61960-3 names
    /// 3.6 V and 3.7 V for lithium-ion; 3.2 V and 2.0 V are what makers' sheets print.
    #[must_use]
    pub const fn usual_cell_v(self) -> f64 {
        match self {
            Self::LiIon => 3.7,
            Self::LiFePo4 => 3.2,
            Self::LeadAcid => 2.0,
        }
    }

    /// Volts that labels print for one cell: 3.6 to 3.85 V for lithium-ion, 3.2 V for LiFePO4, 2.0 V
    /// for lead-acid (makers' sheets), with room for rounding.
    pub(super) const fn label_cell_v(self) -> (f64, f64) {
        match self {
            Self::LiIon => (3.3, 4.4),
            Self::LiFePo4 => (2.95, 3.7),
            Self::LeadAcid => (1.9, 2.4),
        }
    }
}

/// Where the sensor sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeasuredAt {
    /// Behind the bank's converter, on the regulated side: the voltage says nothing of the charge.
    Output,
    /// At the cells or the pack's terminals: the voltage tells.
    Cells,
    /// No sensor.
    Nowhere,
}

impl MeasuredAt {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Output, Self::Cells, Self::Nowhere];

    /// Its name in settings, forms, JSON and the record.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Output => "output",
            Self::Cells => "cells",
            Self::Nowhere => "nowhere",
        }
    }

    /// The place of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }

    /// Where a sensor sits if nobody says: one cell in series is a USB bank, whose converter lies
    /// between; several are a pack, at whose terminals the cells' voltage is seen (common practice,
    /// no source).
    #[must_use]
    pub const fn usual(series: u8) -> Self {
        if series <= 1 { Self::Output } else { Self::Cells }
    }
}
