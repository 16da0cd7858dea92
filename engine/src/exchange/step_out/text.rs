//! Numbers and strings as Part 21 of ISO 10303 spells them, ASCII only.

/// A real: the shortest digits that read back to the same double, always with a point.
///
/// A number with an exponent but no point is taken for something else by readers, silently.
pub(super) fn real(x: f64) -> String {
    if x == 0.0 {
        return "0.".into();
    }
    if (1e-5..1e15).contains(&x.abs()) {
        return pointed(&x.to_string());
    }
    let scientific = format!("{x:e}");
    match scientific.split_once('e') {
        Some((digits, exponent)) => format!("{}E{exponent}", pointed(digits)),
        None => scientific,
    }
}

/// A quoted string; everything that is not plain ASCII goes out as hexadecimal code points.
pub(super) fn string(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    let mut open = Plain;
    out.push('\'');
    for c in text.chars() {
        let class = Class::of(c);
        if class != open {
            out.push_str(open.close());
            out.push_str(class.begin());
            open = class;
        }
        match class {
            Plain if c == '\\' => out.push_str("\\\\"),
            Plain => out.push(c),
            Two => out.push_str(&format!("{:04X}", u32::from(c))),
            Four => out.push_str(&format!("{:08X}", u32::from(c))),
        }
    }
    out.push_str(open.close());
    out.push('\'');
    out
}

/// How a character is spelt.
#[derive(Clone, Copy, PartialEq)]
enum Class {
    Plain,
    Two,
    Four,
}
use Class::{Four, Plain, Two};

impl Class {
    /// The apostrophe is spelt by its code too: not every reader knows the doubled one.
    fn of(c: char) -> Self {
        match c {
            '\'' => Two,
            ' '..='~' => Plain,
            c if u32::from(c) <= 0xFFFF => Two,
            _ => Four,
        }
    }

    fn begin(self) -> &'static str {
        match self {
            Plain => "",
            Two => "\\X2\\",
            Four => "\\X4\\",
        }
    }

    fn close(self) -> &'static str {
        match self {
            Plain => "",
            Two | Four => "\\X0\\",
        }
    }
}

fn pointed(digits: &str) -> String {
    if digits.contains('.') { digits.into() } else { format!("{digits}.") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grammar of a real in ISO 10303-21: sign, digits, point, digits, optional E with sign and digits.
    fn is_real(text: &str) -> bool {
        let (mantissa, exponent) = text.split_once('E').unwrap_or((text, "0"));
        let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        let unsigned = |s: &str| s.strip_prefix('-').unwrap_or(s).to_owned();
        let mantissa = unsigned(mantissa);
        let Some((whole, rest)) = mantissa.split_once('.') else { return false };
        let exponent = unsigned(exponent);
        !whole.is_empty()
            && digits(whole)
            && digits(rest)
            && !exponent.is_empty()
            && digits(&exponent)
    }

    #[test]
    fn reals_follow_the_grammar() {
        for (x, text) in [
            (1.0, "1."),
            (-0.0, "0."),
            (0.1, "0.1"),
            (-12.5, "-12.5"),
            (1e-5, "0.00001"),
            (1e-7, "1.E-7"),
            (1.5e-7, "1.5E-7"),
            (1e15, "1.E15"),
            (1e22, "1.E22"),
            (-1.25e300, "-1.25E300"),
            (1.0 / 3.0, "0.3333333333333333"),
        ] {
            assert_eq!(real(x), text);
        }
    }

    #[test]
    fn reals_read_back_to_the_same_double() {
        let mut bits = 0x9E37_79B9_7F4A_7C15_u64;
        for _ in 0..20_000 {
            bits = bits.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let x = f64::from_bits(bits ^ (bits >> 17));
            if x.is_finite() {
                let text = real(x);
                assert!(is_real(&text), "{text}");
                assert_eq!(text.parse::<f64>().ok(), Some(x), "{text}");
            }
        }
    }

    #[test]
    fn strings_are_ascii_and_escaped() {
        assert_eq!(string("Plane A"), "'Plane A'");
        assert_eq!(string("a'b"), r"'a\X2\0027\X0\b'");
        assert_eq!(string(r"a\b"), r"'a\\b'");
        assert_eq!(string("Öl ∅5"), r"'\X2\00D6\X0\l \X2\2205\X0\5'");
        assert_eq!(string("日本"), r"'\X2\65E5672C\X0\'");
        assert_eq!(string("é😀x"), r"'\X2\00E9\X0\\X4\0001F600\X0\x'");
        assert_eq!(string("a\tb"), r"'a\X2\0009\X0\b'");
    }
}
