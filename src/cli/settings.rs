//! The settings of the policy that the command line outranks.

/// Settings that every command has which judges pieces.
#[derive(clap::Args)]
pub(super) struct Judging {
    /// When a requirement counts as met: `worst case`, `nominal` or `expanded` (uncertainty).
    #[arg(long, value_name = "RULE", allow_hyphen_values = true)]
    acceptance: Option<String>,
    /// Standard uncertainties that the expanded rule keeps clear of the limits, 2 unless given; or
    /// a level of confidence such as `95 %`, from which their number follows.
    #[arg(long, value_name = "K", allow_hyphen_values = true)]
    coverage_factor: Option<String>,
    /// Charge for handling one piece.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    handling: Option<String>,
}

/// Settings of the commands that choose pieces for an outage.
#[derive(clap::Args)]
pub(super) struct Settings {
    #[command(flatten)]
    judging: Judging,
    /// Charge for each thou that a requirement comes out off its target.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    off_target_rate: Option<String>,
    /// Seconds after which the best plan found is written, from the start of the run.
    #[arg(long, value_name = "SECONDS", allow_hyphen_values = true)]
    time_limit: Option<String>,
}

impl Judging {
    /// Those that are given, by the names of the Policy sheet.
    pub(super) fn given(&self) -> Vec<(String, String)> {
        given([
            ("Acceptance", &self.acceptance),
            ("Coverage factor", &self.coverage_factor),
            ("Handling per piece", &self.handling),
        ])
    }
}

impl Settings {
    /// Those that are given, by the names of the Policy sheet.
    pub(super) fn given(&self) -> Vec<(String, String)> {
        let choosing = given([
            ("Off-target rate per thou", &self.off_target_rate),
            ("Time limit", &self.time_limit),
        ]);
        [self.judging.given(), choosing].concat()
    }
}

/// Of settings by their names, those that are given.
pub(super) fn given<const N: usize>(
    settings: [(&str, &Option<String>); N],
) -> Vec<(String, String)> {
    let given = settings.into_iter();
    given.filter_map(|(name, value)| Some((name.to_string(), value.clone()?))).collect()
}
