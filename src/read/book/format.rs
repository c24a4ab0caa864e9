//! Number formats: the text that a cell shows of its value.
//!
//! By ECMA-376 part 1, 18.8.31, on decimal digits. A code that programs might display in different ways is not
//! understood, and says so: a number is never shown otherwise than people see it.
//!
//! # Decision
//!
//! Own code. Beside LibreOffice on the 3,732 cells of `tests/formats/shown.tsv`, the crates ooxml-numfmt 0.2.3 and
//! ssfmt 0.1.2 agree on 3,267 and 3,212: they show a number that `;;;` hides, and lose the minus under `[<1]0.0`.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

/// A value as its format displays it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Look {
    /// A text, with the blanks that the format adds; empty where it shows nothing.
    Text(String),
    /// A date or a time of day.
    Date,
    /// Not known with certainty.
    Unclear,
}

/// A number format.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Format {
    /// As the file has it.
    pub(super) code: String,
    /// Sections for numbers.
    numbers: Vec<Section>,
    /// Section for texts.
    text: Option<Section>,
    understood: bool,
}

/// One part of a format between semicolons.
#[derive(Debug, Clone, PartialEq)]
struct Section {
    condition: Option<Condition>,
    tokens: Vec<Token>,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Condition {
    /// Whether it holds for a number below, equal to, above the limit.
    holds: [bool; 3],
    limit: Decimal,
}

impl Condition {
    fn parse(text: &str) -> Option<Condition> {
        let end = text.find(|c| !"<>=".contains(c))?;
        let holds = match &text[..end] {
            "<" => [true, false, false],
            "<=" => [true, true, false],
            "=" => [false, true, false],
            "<>" => [true, false, true],
            ">=" => [false, true, true],
            ">" => [false, false, true],
            _ => return None,
        };
        Some(Condition { holds, limit: Decimal::from_str_exact(text[end..].trim()).ok()? })
    }

    fn is_met(&self, number: Decimal) -> bool {
        self.holds[match number.cmp(&self.limit) {
            std::cmp::Ordering::Less => 0,
            std::cmp::Ordering::Equal => 1,
            std::cmp::Ordering::Greater => 2,
        }]
    }

    /// Whether it is for all negative numbers and no other: these show no minus of their own.
    fn is_below_zero(&self) -> bool {
        self.limit.is_zero() && self.holds[0] && !self.holds[2]
    }
}

#[derive(Debug, Clone, PartialEq)]
enum Token {
    Literal(String),
    /// `0`, `#` or `?`; or a fixed figure of a denominator.
    Digit(char),
    Point,
    Comma,
    Percent,
    Slash,
    /// `E+` shows a plus, `E-` only a minus.
    Exponent(bool),
    /// The text, or the number as it is.
    Whole,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Unclear,
    Date,
    /// Literals, and the value as it is.
    Whole,
    /// Places after the point; the power of ten that it is multiplied by; whether thousands are grouped.
    Decimal {
        places: u32,
        scale: i32,
        grouped: bool,
    },
    Exponent {
        places: u32,
    },
    Fraction,
}

impl Format {
    /// Bytes that a format takes for each of its code.
    pub(super) const HELD: u64 = 40;

    /// From the code of a number format.
    pub(super) fn parse(code: &str) -> Format {
        /// Longer than spreadsheet programs allow.
        const LONGEST: usize = 255;
        let (mut understood, code) = match code.char_indices().nth(LONGEST) {
            Some((end, _)) => (false, &code[..end]),
            None => (true, code),
        };
        let mut sections = Vec::new();
        for part in parts(code) {
            match part {
                Some(part) => sections.push(section(part)),
                None => understood = false,
            }
        }
        let shows_text = |section: &Section| section.tokens.contains(&Token::Whole);
        let is_text = |section: &Section, code: &str| shows_text(section) && code.contains('@');
        let last = parts(code).last().flatten().unwrap_or_default();
        let text = match sections.len() {
            4 => sections.pop(),
            0 => None,
            1 if sections.iter().all(|s| is_text(s, last)) => sections.last().cloned(),
            _ if sections.last().is_some_and(|s| is_text(s, last)) => sections.pop(),
            _ => None,
        };
        understood &= sections.len() <= 3;
        // Programs differ in a currency text beside the text.
        understood &= text.is_none() || !last.contains("[$");
        Format { code: code.to_string(), numbers: sections, text, understood }
    }

    /// From the number of a built-in format.
    pub(super) fn built_in(number: u32) -> Format {
        Format::parse(match number {
            1 => "0",
            2 => "0.00",
            3 => "#,##0",
            4 => "#,##0.00",
            5 => "$#,##0_);($#,##0)",
            6 => "$#,##0_);[Red]($#,##0)",
            7 => "$#,##0.00_);($#,##0.00)",
            8 => "$#,##0.00_);[Red]($#,##0.00)",
            9 => "0%",
            10 => "0.00%",
            11 => "0.00E+00",
            12 => "# ?/?",
            13 => "# ??/??",
            14..=22 | 27..=36 | 45..=47 | 50..=58 => "yyyy-mm-dd",
            37 => "#,##0_);(#,##0)",
            38 => "#,##0_);[Red](#,##0)",
            39 => "#,##0.00_);(#,##0.00)",
            40 => "#,##0.00_);[Red](#,##0.00)",
            41 => "_(* #,##0_);_(* (#,##0);_(* \"-\"_);_(@_)",
            42 => "_($* #,##0_);_($* (#,##0);_($* \"-\"_);_(@_)",
            43 => "_(* #,##0.00_);_(* (#,##0.00);_(* \"-\"??_);_(@_)",
            44 => "_($* #,##0.00_);_($* (#,##0.00);_($* \"-\"??_);_(@_)",
            48 => "##0.0E+0",
            49 => "@",
            _ => "General",
        })
    }

    /// Whether numbers and texts show just themselves.
    pub(super) fn is_plain(&self) -> bool {
        let bare =
            |section: &Section| section.kind == Kind::Whole && section.tokens == [Token::Whole];
        self.understood && matches!(self.numbers.as_slice(), [one] if bare(one))
    }

    /// Whether numbers are dates or times.
    pub(super) fn is_date(&self) -> bool {
        self.numbers.first().is_some_and(|section| section.kind == Kind::Date)
    }

    /// A number as it shows.
    pub(super) fn number(&self, number: Decimal) -> Look {
        let chosen = self.section(number).filter(|_| self.understood);
        match chosen {
            Some((section, _)) if section.kind == Kind::Date => Look::Date,
            // Programs differ in whether a literal alone has a minus.
            Some((section, true)) if number.is_sign_negative() && !section.shows_figures() => {
                Look::Unclear
            }
            Some((section, signed)) => {
                let shown = section.show(number.abs());
                shown.map_or(Look::Unclear, |(text, is_zero)| {
                    let minus =
                        if signed && number.is_sign_negative() && !is_zero { "-" } else { "" };
                    Look::Text(format!("{minus}{text}"))
                })
            }
            None => Look::Unclear,
        }
    }

    /// A text as it shows.
    pub(super) fn text(&self, text: &str) -> Look {
        match &self.text {
            _ if !self.understood => Look::Unclear,
            None => Look::Text(text.to_string()),
            Some(section) if section.kind == Kind::Whole => Look::Text(section.filled(text)),
            Some(section) if section.tokens.is_empty() => Look::Text(String::new()),
            Some(_) => Look::Unclear,
        }
    }

    /// The section for a number, and whether it shows a minus before a negative one. Programs differ in the sign of a
    /// negative number that falls to a later section by its conditions.
    fn section(&self, number: Decimal) -> Option<(&Section, bool)> {
        let met = |section: &Section| section.condition.map(|c| c.is_met(number));
        let own_sign = |section: &Section| section.condition.is_some_and(|c| c.is_below_zero());
        match self.numbers.as_slice() {
            [] => self.text.as_ref().map(|section| (section, true)),
            [only] => (met(only) != Some(false)).then(|| (only, !own_sign(only))),
            [first, second] => match (met(first), met(second)) {
                (None, None) if number < Decimal::ZERO => Some((second, false)),
                (None, None) | (Some(true), _) => Some((first, !own_sign(first))),
                (Some(false), Some(true)) if number >= Decimal::ZERO => Some((second, true)),
                (Some(false), None) if number >= Decimal::ZERO => Some((second, true)),
                // All that is not above zero: such a section shows no minus of its own.
                (Some(false), None) => {
                    let limit = first.condition.filter(|c| c.limit.is_zero());
                    limit.is_some_and(|c| c.holds[2] && !c.holds[0]).then_some((second, false))
                }
                _ => None,
            },
            [first, second, third] => match (met(first), met(second)) {
                (None, None) => Some(match number {
                    n if n > Decimal::ZERO => (first, true),
                    n if n < Decimal::ZERO => (second, false),
                    _ => (third, false),
                }),
                (Some(true), Some(_)) => Some((first, !own_sign(first))),
                (Some(false), Some(met)) if number >= Decimal::ZERO => {
                    Some((if met { second } else { third }, true))
                }
                _ => None,
            },
            _ => None,
        }
    }
}

/// The parts between semicolons; `None` for one that is cut short.
fn parts(code: &str) -> impl Iterator<Item = Option<&str>> {
    let mut rest = Some(code);
    std::iter::from_fn(move || {
        let code = rest?;
        let mut marks = code.char_indices();
        while let Some((at, mark)) = marks.next() {
            let closed = match mark {
                ';' => {
                    rest = Some(&code[at + 1..]);
                    return Some(Some(&code[..at]));
                }
                '"' => marks.any(|(_, c)| c == '"'),
                '[' => marks.any(|(_, c)| c == ']'),
                '\\' | '_' | '*' => marks.next().is_some(),
                _ => true,
            };
            if !closed {
                rest = None;
                return Some(None);
            }
        }
        rest = None;
        Some(Some(code))
    })
}

/// Unquoted characters that show themselves. A colon, a slash and letters mean something else in some program.
const BARE: &str = " $\u{20ac}\u{a3}\u{a5}()+-'\u{b0}\u{b1}\u{2033}";

/// Reads a section; all that is not certain makes it [`Kind::Unclear`].
fn section(code: &str) -> Section {
    let mut section = Section { condition: None, tokens: Vec::new(), kind: Kind::Unclear };
    let (mut date, mut odd) = (false, false);
    let mut rest = code;
    while let Some(mark) = rest.chars().next() {
        let (_, after) = rest.split_at(mark.len_utf8());
        let leads = section.tokens.is_empty();
        let mut push = |token| match (section.tokens.last_mut(), token) {
            (Some(Token::Literal(text)), Token::Literal(more)) => text.push_str(&more),
            (_, token) => section.tokens.push(token),
        };
        let starts =
            |word: &str| rest.get(..word.len()).is_some_and(|r| r.eq_ignore_ascii_case(word));
        let mut taken = mark.len_utf8();
        match mark {
            '"' => {
                let end = after.find('"').unwrap_or(after.len());
                push(Token::Literal(after[..end].to_string()));
                taken += end + 1;
            }
            '\\' | '_' | '*' => {
                let next = after.chars().next().unwrap_or(' ');
                match mark {
                    '\\' => push(Token::Literal(next.to_string())),
                    '_' => push(Token::Literal(" ".into())),
                    // A character that is repeated to the cell's width looks like figures, or like a sign.
                    _ => odd |= next != ' ',
                }
                taken += next.len_utf8();
            }
            '[' => {
                let end = after.find(']').unwrap_or(after.len());
                let inside = &after[..end];
                taken += end + 1;
                let first = inside.chars().next().unwrap_or(' ').to_ascii_lowercase();
                if let Some(text) = inside.strip_prefix('$') {
                    let (text, language) = text.split_once('-').unwrap_or((text, ""));
                    let known = language.bytes().all(|b| b.is_ascii_hexdigit());
                    odd |= !(known || language.starts_with("x-")) || text.contains('"');
                    if text.is_empty() {
                        // Behind the figures, some programs show the number of the language.
                        odd |= !leads;
                    } else {
                        push(Token::Literal(text.to_string()));
                    }
                } else if inside.starts_with(['<', '>', '=']) {
                    section.condition = Condition::parse(inside);
                    odd |= section.condition.is_none() || !leads;
                } else if "hms".contains(first)
                    && inside.chars().all(|c| c.eq_ignore_ascii_case(&first))
                {
                    date = true;
                } else {
                    odd |= !is_colour(inside) || !leads;
                }
            }
            '0' | '#' | '?' => push(Token::Digit(mark)),
            '1'..='9' => push(Token::Digit(mark)),
            '.' => push(Token::Point),
            ',' => push(Token::Comma),
            '%' => push(Token::Percent),
            '/' => push(Token::Slash),
            '@' => push(Token::Whole),
            'E' if after.starts_with(['+', '-']) => {
                push(Token::Exponent(after.starts_with('+')));
                taken += 1;
            }
            _ if starts("general") => {
                push(Token::Whole);
                taken = "general".len();
            }
            _ if starts("am/pm") => {
                date = true;
                taken = "am/pm".len();
            }
            _ if starts("a/p") => {
                date = true;
                taken = "a/p".len();
            }
            'd' | 'm' | 'y' | 'h' | 's' | 'D' | 'M' | 'Y' | 'H' | 'S' => date = true,
            ':' if date || leads => {}
            _ if BARE.contains(mark) => push(Token::Literal(mark.to_string())),
            _ => odd = true,
        }
        rest = rest.get(taken..).unwrap_or_default();
    }
    section.kind = match () {
        () if odd => Kind::Unclear,
        () if date => kind_of_date(&section.tokens),
        () => kind(&section.tokens).unwrap_or(Kind::Unclear),
    };
    section
}

fn is_colour(text: &str) -> bool {
    const COLOURS: [&str; 8] =
        ["black", "blue", "cyan", "green", "magenta", "red", "white", "yellow"];
    let text = text.to_ascii_lowercase();
    let number = text.strip_prefix("color").map(|n| n.trim().parse::<u8>());
    COLOURS.contains(&text.as_str()) || matches!(number, Some(Ok(1..=56)))
}

/// Dates have figures only for parts of a second.
fn kind_of_date(tokens: &[Token]) -> Kind {
    let figures = tokens.iter().position(|token| matches!(token, Token::Digit(_)));
    let behind_point = |at: usize| at > 0 && tokens[at - 1] == Token::Point;
    match figures {
        Some(at) if !behind_point(at) => Kind::Unclear,
        _ => Kind::Date,
    }
}

fn kind(tokens: &[Token]) -> Option<Kind> {
    let many = |wanted: fn(&Token) -> bool| tokens.iter().filter(|token| wanted(token)).count();
    let is_digit = |token: &Token| matches!(token, Token::Digit(_));
    let is_place = |token: &Token| matches!(token, Token::Digit('0' | '#' | '?'));
    let literal_only = tokens.iter().all(|t| matches!(t, Token::Literal(_) | Token::Whole));
    if literal_only {
        return Some(Kind::Whole);
    }
    let (first, last) = (tokens.iter().position(is_digit)?, tokens.iter().rposition(is_digit)?);
    if many(|t| *t == Token::Slash) > 0 {
        return fraction(tokens).map(|_| Kind::Fraction);
    }
    let figures = &tokens[first..=last];
    let point = tokens.iter().position(|token| *token == Token::Point);
    let percent = many(|t| *t == Token::Percent);
    let all_places = tokens.iter().filter(|t| is_digit(t)).all(is_place);
    // A point before the first figure, as in `.00`, is one of them.
    let before = point.is_some_and(|at| at + 1 < first);
    let whole = many(|t| *t == Token::Whole) > 0;
    if !all_places || before || whole || percent > 1 || many(|t| *t == Token::Point) > 1 {
        return None;
    }
    if let Some(at) = tokens.iter().position(|token| matches!(token, Token::Exponent(_))) {
        // One figure before the point; more of them take several powers at once.
        let mantissa = tokens.get(first..at)?;
        let plain = mantissa.iter().enumerate().all(|(at, token)| match at {
            0 => *token == Token::Digit('0'),
            1 => *token == Token::Point,
            _ => *token == Token::Digit('0'),
        });
        let power = tokens.get(at + 1..=last)?;
        let fine = plain && percent == 0 && mantissa.len() != 2 && !power.is_empty();
        let fine = fine && power.iter().all(|token| *token == Token::Digit('0'));
        let outside = tokens[..first].iter().chain(&tokens[last + 1..]);
        let fine = fine && outside.clone().all(|t| matches!(t, Token::Literal(_)));
        let places = u32::try_from(mantissa.len().saturating_sub(2)).ok()?;
        return fine.then_some(Kind::Exponent { places });
    }
    let mut grouped = false;
    let mut thousands = 0;
    for (at, _) in tokens.iter().enumerate().filter(|(_, token)| **token == Token::Comma) {
        let end_of_whole = point.map_or(last, |point| point.saturating_sub(1));
        if at > first && at < end_of_whole && is_digit(&tokens[at - 1]) && is_digit(&tokens[at + 1])
        {
            grouped = true;
            continue;
        }
        // Scaling commas stand right behind the very last figure.
        if tokens[..at].iter().rposition(|token| *token != Token::Comma) != Some(last) {
            return None;
        }
        thousands += 1;
    }
    let broken = figures.iter().any(|token| matches!(token, Token::Literal(_) | Token::Percent));
    let places = point.map_or(0, |at| tokens[at..].iter().filter(|t| is_digit(t)).count());
    // Figures apart from each other: certain only where the literals stand among those of a code such as `000-000`.
    let of_a_code = point.is_none()
        && thousands == 0
        && figures.iter().all(|t| matches!(t, Token::Literal(_) | Token::Digit('0')));
    if broken && !of_a_code {
        return None;
    }
    let percent = if percent == 1 { 2 } else { 0 };
    Some(Kind::Decimal {
        places: u32::try_from(places).ok()?,
        scale: percent - 3 * thousands,
        grouped,
    })
}

/// Parts of a fraction: where its whole number, its numerator and its denominator begin and end, as token numbers.
struct Parts {
    whole: Option<(usize, usize)>,
    above: (usize, usize),
    below: (usize, usize),
}

fn fraction(tokens: &[Token]) -> Option<Parts> {
    let slash = tokens.iter().position(|token| *token == Token::Slash)?;
    let is_digit = |token: &Token| matches!(token, Token::Digit(_));
    let is_place = |token: &Token| matches!(token, Token::Digit('0' | '#' | '?'));
    let back = |end: usize| tokens[..end].iter().rposition(|t| !is_digit(t)).map_or(0, |at| at + 1);
    let above = (back(slash), slash);
    let long = tokens[slash + 1..].iter().take_while(|t| is_digit(t)).count();
    let below = (slash + 1, slash + 1 + long);
    let is_blank = |t: &Token| matches!(t, Token::Literal(text) if text.trim().is_empty());
    let blanks = tokens[..above.0].iter().rev().take_while(|t| is_blank(t)).count();
    let end = above.0 - blanks;
    let whole = (back(end), end);
    let has_whole = blanks > 0 && whole.0 < whole.1;
    let start = if has_whole { whole.0 } else { above.0 };
    let outside = tokens[..start].iter().chain(&tokens[below.1..]);
    let fine = above.0 < above.1
        && long > 0
        && long <= 3
        && tokens[start..slash].iter().all(|t| is_place(t) || is_blank(t))
        && outside.clone().all(|t| matches!(t, Token::Literal(_)));
    fine.then_some(Parts { whole: has_whole.then_some(whole), above, below })
}

impl Section {
    fn shows_figures(&self) -> bool {
        self.tokens.iter().any(|token| matches!(token, Token::Digit(_) | Token::Whole))
    }

    /// Its literals around a text.
    fn filled(&self, text: &str) -> String {
        let shown = self.tokens.iter().map(|token| match token {
            Token::Literal(literal) => literal,
            _ => text,
        });
        shown.collect()
    }

    /// A number that is not negative, and whether it shows as zero.
    fn show(&self, number: Decimal) -> Option<(String, bool)> {
        match self.kind {
            Kind::Unclear | Kind::Date => None,
            Kind::Whole => Some((self.filled(&number.normalize().to_string()), false)),
            Kind::Decimal { places, scale, grouped } => {
                let scaled = times_ten(number, scale)?;
                let away = RoundingStrategy::MidpointAwayFromZero;
                let rounded = scaled.round_dp_with_strategy(places, away);
                Some((self.decimal(rounded, places, grouped), rounded.is_zero()))
            }
            Kind::Exponent { places } => self.exponent(number, places),
            Kind::Fraction => self.fraction(number),
        }
    }

    /// Figures put into their places; those before the point from the right.
    fn decimal(&self, rounded: Decimal, places: u32, grouped: bool) -> String {
        let text = format!("{rounded:.*}", usize::try_from(places).unwrap_or(0));
        let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
        let mut whole: Vec<char> = whole.trim_start_matches('0').chars().collect();
        let point = self.tokens.iter().position(|t| *t == Token::Point);
        let end = point.unwrap_or(self.tokens.len());
        let is_digit = |at: &usize| matches!(self.tokens[*at], Token::Digit(_));
        let first = (0..end).find(is_digit);
        let mut shown: Vec<String> = vec![String::new(); self.tokens.len()];
        let mut put = 0;
        for at in (0..end).rev().filter(is_digit) {
            let mut here = Vec::new();
            loop {
                let figure = match (whole.pop(), &self.tokens[at]) {
                    (Some(figure), _) => figure,
                    (None, Token::Digit('0')) if here.is_empty() => '0',
                    (None, Token::Digit('?')) if here.is_empty() => ' ',
                    (None, _) => break,
                };
                if grouped && put > 0 && put % 3 == 0 && figure != ' ' {
                    here.push(',');
                }
                here.push(figure);
                put += 1;
                // The first place takes all the figures that are left.
                if Some(at) != first || whole.is_empty() {
                    break;
                }
            }
            shown[at] = here.into_iter().rev().collect();
        }
        // Without places before the point, the figures stand before it all the same.
        let left: String = whole.into_iter().collect();
        let mut open = true;
        let parted: Vec<_> = (end..self.tokens.len()).filter(is_digit).zip(part.chars()).collect();
        for (at, figure) in parted.into_iter().rev() {
            open &= figure == '0';
            shown[at] = match (&self.tokens[at], open) {
                (Token::Digit('#'), true) => String::new(),
                (Token::Digit('?'), true) => " ".into(),
                _ => {
                    open = false;
                    figure.to_string()
                }
            };
        }
        let any = shown.iter().skip(end).any(|figure| !figure.is_empty());
        let tokens = self.tokens.iter().zip(shown);
        let shown = tokens.map(|(token, shown)| match token {
            Token::Literal(literal) => literal.clone(),
            Token::Percent => "%".into(),
            Token::Point if any => format!("{left}."),
            Token::Point => left.clone(),
            _ => shown,
        });
        shown.collect()
    }

    fn exponent(&self, number: Decimal, places: u32) -> Option<(String, bool)> {
        let mut power: i32 = 0;
        let mut mantissa = number;
        let ten = Decimal::TEN;
        while mantissa >= ten {
            mantissa /= ten;
            power += 1;
        }
        while !mantissa.is_zero() && mantissa < Decimal::ONE {
            mantissa = mantissa.checked_mul(ten)?;
            power -= 1;
        }
        let away = RoundingStrategy::MidpointAwayFromZero;
        let mut rounded = mantissa.round_dp_with_strategy(places, away);
        if rounded >= ten {
            rounded /= ten;
            power += 1;
        }
        let at = self.tokens.iter().position(|t| matches!(t, Token::Exponent(_)))?;
        let width = self.tokens[at..].iter().filter(|t| matches!(t, Token::Digit(_))).count();
        let sign = match (power < 0, &self.tokens[at]) {
            (true, _) => "-",
            (false, Token::Exponent(true)) => "+",
            (false, _) => "",
        };
        let places = usize::try_from(places).ok()?;
        let figures = format!("{rounded:.places$}E{sign}{:0>width$}", power.unsigned_abs());
        let mut figures = Some(figures);
        let shown = self.tokens.iter().filter_map(|token| match token {
            Token::Literal(literal) => Some(literal.clone()),
            _ => figures.take(),
        });
        Some((shown.collect(), number.is_zero()))
    }

    fn fraction(&self, number: Decimal) -> Option<(String, bool)> {
        let parts = fraction(&self.tokens)?;
        let places = |(from, to): (usize, usize)| {
            self.tokens[from..to].iter().filter_map(|token| match token {
                Token::Digit(place) => Some(*place),
                _ => None,
            })
        };
        let below: String = places(parts.below).collect();
        let is_free =
            below.bytes().all(|b| b"0#?".contains(&b)) && below.bytes().any(|b| b != b'0');
        let most = Decimal::from(1_000_000_000);
        if number > most {
            return None;
        }
        let mut whole = if parts.whole.is_some() { number.trunc() } else { Decimal::ZERO };
        let rest = number - whole;
        let (mut above, below) = if is_free {
            // Programs differ in which fraction is nearest; one that is the number itself is certain.
            let largest = 10_u32.pow(u32::try_from(below.len()).ok()?) - 1;
            let near = Decimal::new(1, 9);
            (1..=largest).find_map(|below| {
                let above = rest * Decimal::from(below);
                let is_whole = (above - above.round()).abs() <= near;
                is_whole.then(|| (above.round(), below))
            })?
        } else {
            let below: u32 = below.parse().ok().filter(|below| *below > 0)?;
            let away = RoundingStrategy::MidpointAwayFromZero;
            let above = rest * Decimal::from(below);
            // Programs round a half both ways.
            if above.fract() == Decimal::new(5, 1) {
                return None;
            }
            (above.round_dp_with_strategy(0, away), below)
        };
        if parts.whole.is_some() && above == Decimal::from(below) {
            whole += Decimal::ONE;
            above = Decimal::ZERO;
        }
        let zeros = |part| places(part).any(|place| place == '0');
        let without = parts.whole.is_some() && above.is_zero() && !zeros(parts.above);
        let whole_shown = !whole.is_zero()
            || parts.whole.is_some_and(zeros)
            || (parts.whole.is_some() && without);
        let mut figures = Vec::new();
        if whole_shown && parts.whole.is_some() {
            figures.push(whole.normalize().to_string());
        }
        if !without {
            figures.push(format!("{}/{below}", above.to_u64()?));
        }
        let start = parts.whole.map_or(parts.above.0, |(from, _)| from);
        let literals = |tokens: &[Token]| -> String {
            let texts = tokens.iter().filter_map(|token| match token {
                Token::Literal(literal) => Some(literal.as_str()),
                _ => None,
            });
            texts.collect()
        };
        let (before, behind) =
            (literals(&self.tokens[..start]), literals(&self.tokens[parts.below.1..]));
        let behind = if without { format!(" {behind}") } else { behind };
        let is_zero = whole.is_zero() && above.is_zero();
        Some((format!("{before}{}{behind}", figures.join(" ")), is_zero))
    }
}

/// A number times a power of ten.
fn times_ten(number: Decimal, power: i32) -> Option<Decimal> {
    let factor = Decimal::from(10_u64.checked_pow(power.unsigned_abs())?);
    if power < 0 { number.checked_div(factor) } else { number.checked_mul(factor) }
}
