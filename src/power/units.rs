//! The quantities of a battery as whole numbers, each with its unit in its type.
//!
//! Takes whole numbers; gives newtypes over them. Nothing here is a floating-point number: those
//! live inside `formula` alone. All sums are saturating.

/// Electric tension in millivolts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Millivolts(pub i32);

impl Millivolts {
    /// The sum, held at the ends of the range.
    #[must_use]
    pub const fn plus(self, other: Millivolts) -> Millivolts {
        Millivolts(self.0.saturating_add(other.0))
    }

    /// The difference, held at the ends of the range.
    #[must_use]
    pub const fn minus(self, other: Millivolts) -> Millivolts {
        Millivolts(self.0.saturating_sub(other.0))
    }
}

/// Current in milliamperes. A load draws, a charger gives; both are positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Milliamps(pub i32);

impl Milliamps {
    /// The sum, held at the ends of the range.
    #[must_use]
    pub const fn plus(self, other: Milliamps) -> Milliamps {
        Milliamps(self.0.saturating_add(other.0))
    }

    /// The difference, held at the ends of the range; negative where a charger gives more than the
    /// load draws.
    #[must_use]
    pub const fn minus(self, other: Milliamps) -> Milliamps {
        Milliamps(self.0.saturating_sub(other.0))
    }
}

/// Capacity in thousandths of an ampere-hour, at the 20-hour rate unless said otherwise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MilliampHours(pub i32);

/// Reserve capacity as printed on a battery: minutes at 25 A to 10.5 V at 27 °C.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Minutes(pub i32);

/// Resistance in millionths of an ohm; 10 mΩ are 10 000.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Microohms(pub i32);

/// Temperature in tenths of a degree Celsius.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TenthsCelsius(pub i32);

/// Age in whole months.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Months(pub i32);

/// A share in thousandths: of a battery's charge, of its rated capacity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PerMille(pub i32);

/// Peukert's exponent in thousandths: 1200 means 1.2.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Exponent(pub i32);

impl Exponent {
    /// The least that a battery can have: the same charge at any current.
    pub const ONE: Exponent = Exponent(1000);
    /// The most that is believed of a printed rating. Own rule; the published ratings in the tests
    /// reach 1.29.
    pub const MOST: Exponent = Exponent(2000);
}

/// How far a voltmeter may be wrong, either way; never less than [`MeterError::LEAST`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MeterError(Millivolts);

impl MeterError {
    /// What is carried even for a meter that shows two decimals: ±0.02 V.
    pub const LEAST: MeterError = MeterError(Millivolts(20));

    /// An error of ±`by`, raised to the least where it is smaller.
    #[must_use]
    pub fn new(by: Millivolts) -> MeterError {
        MeterError(by).max(MeterError::LEAST)
    }

    /// The error of a reading given with so many decimals: half of its last place on top of the
    /// least. A reading with fewer than two decimals is better asked again.
    #[must_use]
    pub fn of_decimals(decimals: usize) -> MeterError {
        let half_place = match decimals {
            0 => 500,
            1 => 50,
            _ => 0,
        };
        MeterError(MeterError::LEAST.0.plus(Millivolts(half_place)))
    }

    /// The error as a tension.
    #[must_use]
    pub const fn millivolts(self) -> Millivolts {
        self.0
    }
}

/// A quantity known only between two bounds, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Between<T> {
    /// The least that it can be.
    pub least: T,
    /// The most that it can be.
    pub most: T,
}

impl<T: Copy + Ord> Between<T> {
    /// Exactly `value`.
    #[must_use]
    pub const fn exactly(value: T) -> Between<T> {
        Between { least: value, most: value }
    }

    /// The smallest bounds that hold both.
    #[must_use]
    pub fn hull(self, other: Between<T>) -> Between<T> {
        Between { least: self.least.min(other.least), most: self.most.max(other.most) }
    }
}
