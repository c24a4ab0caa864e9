//! Policy: every rate and rule that a shop may set, each with its default.
//!
//! [`Policy`] holds them; [`Policy::set`] reads one setting from the Policy sheet.

use std::fmt;

use thiserror::Error;

use crate::cutting::Remnants;
use crate::decimal::{Millionths, Money};
use crate::gauge::ReadingStep;
use crate::length::{Length, Unit};
use crate::stack::{Alike, Coverage, Guard};

/// Acceptance rule: the condition under which a requirement counts as met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Acceptance {
    /// The nominal value lies within the limits.
    Nominal,
    /// Every value lies within the limits, wherever each contributor lies in its tolerance.
    #[default]
    WorstCase,
    /// The nominal value lies within the limits by at least the expanded uncertainty `U = k u_c`. Source:
    /// JCGM 100:2008, 6.2.1; the decision rule of ISO 14253-1, from memory.
    Expanded,
}

impl fmt::Display for Acceptance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Acceptance::Nominal => "nominal",
            Acceptance::WorstCase => "worst case",
            Acceptance::Expanded => "expanded",
        })
    }
}

impl Acceptance {
    /// Reads `nominal`, `worst case` or `expanded`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Acceptance> {
        match text.trim().to_lowercase().replace(['-', '_'], " ").as_str() {
            "nominal" => Some(Acceptance::Nominal),
            "worst case" => Some(Acceptance::WorstCase),
            "expanded" => Some(Acceptance::Expanded),
            _ => None,
        }
    }
}

/// Rates and rules in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Policy {
    /// Acceptance rule. Default: worst case.
    pub acceptance: Acceptance,
    /// Level of confidence, from which the coverage factor k follows with the effective degrees of freedom; or k
    /// itself. The expanded rule keeps k standard uncertainties clear of the limits; the worst case takes k of them
    /// for a dimension without a plus/minus. Default: 95 %. Source: JCGM 100:2008, G.6.4 (from memory).
    pub coverage: Coverage,
    /// How far the pieces of one lot err alike, where the stock does not say. Default: at worst.
    pub alike: Alike,
    /// Charge for handling one piece. Default: 0.50.
    pub handling: Money,
    /// Charge for each thou (0.001 in) that a requirement comes out off its target. Default: 0.10.
    pub off_target: Money,
    /// Whether the rest of an opened pack is spoiled, and so counts as waste. Default: no.
    pub opened_cartons_spoiled: bool,
    /// Accounting of the remnants of plates that are cut. Default: charged, as waste.
    pub remnants: Remnants,
    /// Currency. Default: USD.
    pub currency: String,
    /// Seed of everything random; the choice of pieces uses nothing random. Default: 1.
    pub seed: u64,
    /// Seconds from the start of the run, reading included, after which the best plan found is written.
    /// They stand for an amount of work as well, which a machine at rest does in less time: so one that is somewhat loaded
    /// gives the same plan. The order among equal plans, and then the marginal values, may each take as much again
    /// as everything before. Default: 60.
    pub time_limit: u32,
    /// Error of a micrometer's reading of a finished pack, at most, either way. Default: 0.0002 in; common
    /// practice, no source.
    pub pack_within: Length,
    /// Error of a reading of a clearance, at most, either way. Default: 0.0005 in; common practice, no
    /// source.
    pub clearance_within: Length,
    /// Step of the micrometer that reads a finished pack. Default: 0.0001 in or 0.001 mm; common practice, no source.
    pub pack_step: ReadingStep,
    /// Step of the gauge that reads a clearance. Default: 0.0005 in or 0.01 mm; common practice, no source.
    pub clearance_step: ReadingStep,
    /// Address at which the shop's page answers, for the links of slips; empty where it has none. No plan depends on it, so it
    /// is none of the settings that a plan lists.
    pub page_address: String,
}

/// A setting by its name on the Policy sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PolicySetting {
    /// Name.
    pub name: &'static str,
    /// Present value, as it may be typed.
    pub value: String,
    /// Effect, for people.
    pub meaning: &'static str,
}

impl Default for Policy {
    fn default() -> Policy {
        Policy {
            acceptance: Acceptance::WorstCase,
            coverage: Coverage::Level(Millionths::from_raw(950_000)),
            alike: Alike::AtWorst,
            handling: Money::from_raw(500_000),
            off_target: Money::from_raw(100_000),
            opened_cartons_spoiled: false,
            remnants: Remnants::Charged,
            currency: "USD".into(),
            seed: 1,
            time_limit: 60,
            pack_within: Length::from_ticks(2 * Unit::Thou.ticks() / 10),
            clearance_within: Length::from_ticks(5 * Unit::Thou.ticks() / 10),
            pack_step: ReadingStep {
                inch: Length::from_ticks(Unit::Thou.ticks() / 10),
                metric: Length::from_ticks(Unit::Micrometre.ticks()),
            },
            clearance_step: ReadingStep {
                inch: Length::from_ticks(5 * Unit::Thou.ticks() / 10),
                metric: Length::from_ticks(10 * Unit::Micrometre.ticks()),
            },
            page_address: String::new(),
        }
    }
}

impl Policy {
    /// Guard that the acceptance rule keeps clear of the limits.
    pub fn guard(&self) -> Guard {
        match self.acceptance {
            Acceptance::Nominal => Guard::None,
            Acceptance::WorstCase => Guard::WorstCase,
            Acceptance::Expanded => Guard::Expanded(self.coverage),
        }
    }

    /// Settings in the order of the Policy sheet.
    pub fn settings(&self) -> Vec<PolicySetting> {
        let spoiled = if self.opened_cartons_spoiled { "yes" } else { "no" };
        let remnants = match self.remnants {
            Remnants::Charged => "charged",
            Remnants::BookedBack => "booked back",
        };
        let covered = match self.guard() {
            Guard::Expanded(_) => {
                "combined standard uncertainties that a kit keeps clear of its limits"
            }
            Guard::None | Guard::WorstCase => {
                "standard uncertainties taken as the worst case if no plus/minus is given"
            }
        };
        let setting = |name, value, meaning| PolicySetting { name, value, meaning };
        vec![
            setting(
                "Acceptance",
                self.acceptance.to_string(),
                "rule by which a requirement is met",
            ),
            setting("Coverage factor", self.coverage.to_string(), covered),
            setting(
                "Pieces of a lot alike",
                self.alike.to_string(),
                "how far pieces of one lot err alike where the stock does not say; at worst: a common error only widens",
            ),
            setting(
                "Handling per piece",
                self.handling.to_string(),
                "cost of handling each piece, on top of its unit cost",
            ),
            setting(
                "Off-target rate per thou",
                self.off_target.to_string(),
                "cost of each 0.001 in between a requirement's value and its target",
            ),
            setting(
                "Opened packs spoiled",
                spoiled.into(),
                "whether the rest of an opened pack is waste",
            ),
            setting(
                "Plate remnants",
                remnants.into(),
                "whether the remnants of a plate cut are waste (charged) or plates of the stock (booked back)",
            ),
            setting("Currency", self.currency.clone(), "name of the currency"),
            setting(
                "Seed",
                self.seed.to_string(),
                "seed of all random draws; the choice of pieces uses none",
            ),
            setting(
                "Time limit",
                format!("{} s", self.time_limit),
                "end of the search; the best plan found by then is written",
            ),
            setting(
                "Pack reading within",
                shown(self.pack_within),
                "error of a micrometer reading of a finished pack, for recheck",
            ),
            setting(
                "Clearance reading within",
                shown(self.clearance_within),
                "error of a clearance reading, for recheck",
            ),
            setting(
                "Pack reading step",
                self.pack_step.to_string(),
                "last digit of a micrometer; ranges of packs are printed in it, rounded inward",
            ),
            setting(
                "Clearance reading step",
                self.clearance_step.to_string(),
                "last digit of a clearance gauge; ranges of clearances are printed in it, rounded inward",
            ),
        ]
    }

    /// Sets one setting by its name (case, spaces and punctuation do not matter).
    ///
    /// # Errors
    /// [`SettingError`]: no setting has this name, or it cannot have this value.
    ///
    /// ```
    /// use gapwright::policy::{Acceptance, Policy};
    /// let mut policy = Policy::default();
    /// policy.set("acceptance", "Nominal").unwrap();
    /// assert_eq!(policy.acceptance, Acceptance::Nominal);
    /// policy.set("acceptance", "expanded").unwrap();
    /// assert_eq!(policy.acceptance, Acceptance::Expanded);
    /// assert!(policy.set("handling per piece", "-1").is_err());
    /// ```
    pub fn set(&mut self, setting: &str, value: &str) -> Result<(), SettingError> {
        let key: String =
            setting.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
        let value = value.trim();
        let wrong = |expected: &'static str| SettingError::Value { expected };
        let money = || {
            Money::parse(value)
                .filter(|money| *money >= Money::ZERO && money.raw() <= 1_000_000_000_000)
                .ok_or(wrong("an amount of money, 0 to 1000000, of at most six places"))
        };
        let within = || {
            let length = Length::parse(value, None).ok();
            let most = Length::from_ticks(100 * Unit::Thou.ticks());
            length
                .filter(|length| *length >= Length::ZERO && *length <= most)
                .ok_or(wrong("a length with its unit, 0 to 0.1 in, such as 0.0002 in or 0.005 mm"))
        };
        let step = |now: ReadingStep| {
            now.with(value).ok_or(wrong(
                "a length with its unit, above 0 and to 0.1 in, or two: 0.0005 in / 0.01 mm",
            ))
        };
        match key.as_str() {
            "acceptance" => {
                self.acceptance =
                    Acceptance::parse(value).ok_or(wrong("nominal, worst case or expanded"))?;
            }
            "coveragefactor" => {
                self.coverage = Coverage::parse(value).ok_or_else(|| {
                    wrong("a number from 1 to 10; or a level of confidence such as 95 %, from 50 % to 99.99 %, typed as text")
                })?;
            }
            "piecesofalotalike" | "alike" => {
                self.alike =
                    alike(value).ok_or(wrong("at worst, or a share of 0 to 100 % typed as text"))?
            }
            "handlingperpiece" | "handling" => self.handling = money()?,
            "offtargetrateperthou" | "offtargetrate" => self.off_target = money()?,
            "openedpacksspoiled" => match value.to_lowercase().as_str() {
                "yes" | "true" => self.opened_cartons_spoiled = true,
                "no" | "false" => self.opened_cartons_spoiled = false,
                _ => return Err(wrong("yes or no")),
            },
            "plateremnants" => {
                self.remnants = match value.to_lowercase().as_str() {
                    "charged" => Remnants::Charged,
                    "booked back" => Remnants::BookedBack,
                    _ => return Err(wrong("charged or booked back")),
                }
            }
            "currency" => {
                if value.is_empty() || value.chars().count() > 12 {
                    return Err(wrong("a name of at most 12 characters"));
                }
                self.currency = value.to_string();
            }
            "seed" => self.seed = value.parse().map_err(|_| wrong("a whole number, 0 or more"))?,
            "timelimit" => {
                self.time_limit = value
                    .trim_end_matches(['s', ' '])
                    .parse()
                    .ok()
                    .filter(|&s| s > 0)
                    .ok_or(wrong("whole seconds, 1 or more"))?;
            }
            "packreadingwithin" => self.pack_within = within()?,
            "clearancereadingwithin" => self.clearance_within = within()?,
            "packreadingstep" => self.pack_step = step(self.pack_step)?,
            "clearancereadingstep" => self.clearance_step = step(self.clearance_step)?,
            "pageaddress" => {
                let address = value.trim_end_matches('/');
                let rest =
                    ["http://", "https://"].iter().find_map(|kind| address.strip_prefix(kind));
                let host = |rest: &&str| {
                    let plain = |c: char| c.is_ascii_alphanumeric() || ".-:[]".contains(c);
                    !rest.is_empty() && rest.chars().all(plain) && rest.len() <= 100
                };
                rest.filter(host).ok_or(wrong(
                    "the address of a page without its code, such as http://127.0.0.1:8470",
                ))?;
                self.page_address = address.to_string();
            }
            _ => return Err(SettingError::Unknown),
        }
        Ok(())
    }
}

/// Reads `at worst` or a share such as `80 %`.
fn alike(value: &str) -> Option<Alike> {
    if value.eq_ignore_ascii_case("at worst") {
        return Some(Alike::AtWorst);
    }
    let percent = Millionths::parse(value.strip_suffix('%')?.trim())?;
    let whole = (0..=100_000_000).contains(&percent.raw()) && percent.raw() % 100 == 0;
    whole.then(|| Alike::Share(Millionths::from_raw(percent.raw() / 100)))
}

/// Length with its unit, in the system in which it is a short number.
fn shown(length: Length) -> String {
    let unit = crate::show::natural_unit(length);
    format!("{} {unit}", length.show(unit))
}

/// Reason that a setting was refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SettingError {
    /// No setting has this name.
    #[error("no setting has this name")]
    Unknown,
    /// The setting cannot have this value.
    #[error("the value must be {expected}")]
    Value {
        /// Values that it can have.
        expected: &'static str,
    },
}
