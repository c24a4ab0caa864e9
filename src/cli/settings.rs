//! The settings of the policy that the command line outranks.

/// Settings that every command has which judges pieces.
#[derive(clap::Args)]
pub(super) struct Judging {
    /// Rule by which a requirement counts as met: `worst case` (unless given), `nominal` or `expanded`
    /// (uncertainty); see `gapwright help rules`.
    #[arg(long, value_name = "RULE", allow_hyphen_values = true)]
    acceptance: Option<String>,
    /// Coverage factor of the expanded rule, 2 unless given; or a level of confidence such as `95 %`.
    #[arg(long, value_name = "K", allow_hyphen_values = true)]
    coverage_factor: Option<String>,
    /// Charge for handling, per piece; 0.50 unless given.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    handling: Option<String>,
}

/// Settings of the commands that choose pieces for an outage.
#[derive(clap::Args)]
pub(super) struct Settings {
    #[command(flatten)]
    judging: Judging,
    /// Charge per thou off the target of a requirement; 0.10 unless given.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    off_target_rate: Option<String>,
    /// Seconds from the start of the run, 60 unless given; then the best plan found is written.
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
