//! What published tables say about a 12 V battery, as data.
//!
//! Takes nothing; gives the rest voltages and temperatures that `formula` interpolates. Where each
//! table comes from is cited beside its check in the tests. Where tables disagree, none is chosen:
//! the result is widened over all that apply.

use super::units::{Exponent, Millivolts, PerMille, TenthsCelsius};

/// How the battery is built.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Liquid acid, with or without filler caps.
    Flooded,
    /// Acid held in glass mat.
    Agm,
    /// Acid held in a gel. No table of its own is known here: both others are used, and the result
    /// widened.
    Gel,
}

/// One published table of rest voltages.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Table {
    /// Flooded, measured together with the acid's density (1.265 when full).
    Flooded,
    /// Flooded, a rule of thumb in round figures.
    FloodedRuleOfThumb,
    /// Glass mat.
    Agm,
}

/// Rest voltage (mV) and charge (per mille), rising.
pub(super) type Row = (i32, i32);

const FLOODED: &[Row] = &[(11_890, 0), (12_060, 250), (12_240, 500), (12_450, 750), (12_650, 1000)];
const FLOODED_RULE_OF_THUMB: &[Row] =
    &[(11_600, 0), (12_000, 250), (12_200, 500), (12_400, 750), (12_600, 1000)];
const AGM: &[Row] = &[(10_500, 0), (11_750, 250), (12_200, 500), (12_550, 750), (12_800, 1000)];

/// Temperature (tenths °C) and the share of the capacity that is left (per mille), rising. Made for
/// cranking current, so it is on the low side for the smaller current of a key-learning run.
pub(super) const CAPACITY_WHEN_COLD: &[Row] = &[(-288, 200), (-178, 400), (0, 650), (267, 1000)];

/// A second source: 0.9 % of run time a degree, around 27 °C, said to hold from 24 to 32 °C.
pub(super) const PER_MILLE_A_DEGREE: f64 = 9.0;
/// Where the second source's 100 % lies.
pub(super) const SECOND_FULL: TenthsCelsius = TenthsCelsius(270);
/// The coldest at which the second source claims to hold.
pub(super) const SECOND_FROM: TenthsCelsius = TenthsCelsius(240);

/// Outside these temperatures sources disagree even on the sign of what cold does to the rest
/// voltage. It is therefore not corrected but widened.
pub const UNDISPUTED_FROM: TenthsCelsius = TenthsCelsius(100);
/// The warm end of it.
pub const UNDISPUTED_TO: TenthsCelsius = TenthsCelsius(350);
/// By so much, either way, on top of the meter's error.
pub const DISPUTED_BY: Millivolts = Millivolts(100);

impl Table {
    pub(super) const fn rows(self) -> &'static [Row] {
        match self {
            Table::Flooded => FLOODED,
            Table::FloodedRuleOfThumb => FLOODED_RULE_OF_THUMB,
            Table::Agm => AGM,
        }
    }

    /// The rest voltage of a full battery. A higher reading is counted as this one: it shows charge
    /// on the plates' surface that the first load takes away.
    #[must_use]
    pub const fn full(self) -> Millivolts {
        match self {
            Table::Flooded | Table::FloodedRuleOfThumb => Millivolts(12_650),
            Table::Agm => Millivolts(12_800),
        }
    }

    /// The table's rows for showing and for checks: rest voltage and charge, rising.
    pub fn shown(self) -> impl Iterator<Item = (Millivolts, PerMille)> {
        self.rows().iter().map(|&(volts, charge)| (Millivolts(volts), PerMille(charge)))
    }
}

impl Kind {
    /// The tables that apply, the main one first.
    #[must_use]
    pub const fn tables(self) -> &'static [Table] {
        match self {
            Kind::Flooded => &[Table::Flooded, Table::FloodedRuleOfThumb],
            Kind::Agm => &[Table::Agm],
            Kind::Gel => &[Table::Agm, Table::Flooded],
        }
    }

    /// The highest voltage that such a battery is sure to have at rest when full: the lowest of its
    /// tables.
    #[must_use]
    pub fn full(self) -> Millivolts {
        self.tables().iter().map(|table| table.full()).min().unwrap_or_default()
    }

    /// Above this a rest voltage without a charger is surface charge, and the charge is unknown.
    /// 12.8 V for flooded is published; for the others the same 0.15 V above full is an own setting,
    /// from no source.
    #[must_use]
    pub const fn surface_charge_above(self) -> Millivolts {
        match self {
            Kind::Flooded => Millivolts(12_800),
            Kind::Agm | Kind::Gel => Millivolts(12_950),
        }
    }

    /// Peukert's exponent where the ratings do not give it: from the lowest of the published ratings
    /// (1.10) to a monitor manual's default for the kind (1.25 flooded, 1.11 others).
    #[must_use]
    pub const fn exponents(self) -> (Exponent, Exponent) {
        match self {
            Kind::Flooded => (Exponent(1100), Exponent(1250)),
            Kind::Agm | Kind::Gel => (Exponent(1100), Exponent(1110)),
        }
    }
}
