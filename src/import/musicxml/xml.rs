//! Small helpers over the XML tree: texts, numbers, positions.

use roxmltree::Node;

use super::super::{Error, Position};

/// Where a node begins in the text.
pub(super) fn position(node: Node<'_, '_>) -> Position {
    let at = node.document().text_pos_at(node.range().start);
    Position { line: at.row, column: at.col }
}

/// The element children, in order.
pub(super) fn elements<'a, 'i>(node: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(Node::is_element)
}

/// The first element child of this name, whatever its namespace.
pub(super) fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Option<Node<'a, 'i>> {
    elements(node).find(|n| n.tag_name().name() == name)
}

/// The text of an element without the white space around it; empty where it has none.
pub(super) fn text<'a>(node: Node<'a, '_>) -> &'a str {
    match node.text() {
        Some(text) => text.trim(),
        // A comment may stand before the text.
        None => {
            node.children().find_map(|n| n.text().filter(|_| n.is_text())).map_or("", str::trim)
        }
    }
}

/// The text of the first child of this name; empty where there is none.
pub(super) fn child_text<'a>(node: Node<'a, '_>, name: &str) -> &'a str {
    child(node, name).map_or("", text)
}

/// A text on one line: runs of white space become one space.
pub(super) fn one_line(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    line
}

/// A whole number within bounds.
pub(super) fn integer(
    node: Node<'_, '_>,
    element: &'static str,
    (low, high): (i64, i64),
    needs: &'static str,
) -> Result<i64, Error> {
    let text = text(node);
    match text.parse::<i64>() {
        Ok(n) if (low..=high).contains(&n) => Ok(n),
        _ => Err(bad_number(node, element, needs)),
    }
}

/// The error for a text that is no such number.
pub(super) fn bad_number(node: Node<'_, '_>, element: &'static str, needs: &'static str) -> Error {
    let mut text: String = text(node).chars().take(40).collect();
    if text.is_empty() {
        text.push_str("nothing");
    }
    Error::Number { element, text, needs, at: position(node) }
}

/// An exact decimal number: `n / d`, in lowest terms, `d` a divisor of a power of ten.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Decimal {
    pub(super) n: i64,
    pub(super) d: i64,
}

impl Decimal {
    /// Reads `12`, `-3`, `0.5`, `+1.25`; `None` for anything else, exponents and words included,
    /// and for more than eighteen digits.
    pub(super) fn parse(text: &str) -> Option<Decimal> {
        let (negative, digits) = match text.as_bytes().first()? {
            b'-' => (true, text.get(1..)?),
            b'+' => (false, text.get(1..)?),
            _ => (false, text),
        };
        let (whole, fraction) = match digits.split_once('.') {
            Some((whole, fraction)) => (whole, fraction.trim_end_matches('0')),
            None => (digits, ""),
        };
        let seen = whole.len() + digits.split_once('.').map_or(0, |(_, f)| f.len());
        if seen == 0 || whole.len() + fraction.len() > 18 {
            return None;
        }
        let mut n = 0i64;
        let mut d = 1i64;
        for digit in whole.bytes().chain(fraction.bytes()) {
            if !digit.is_ascii_digit() {
                return None;
            }
            n = n * 10 + i64::from(digit - b'0');
        }
        for _ in 0..fraction.len() {
            d *= 10;
        }
        let common = gcd(n, d).max(1);
        Some(Decimal { n: if negative { -n } else { n } / common, d: d / common })
    }
}

/// The greatest common divisor.
pub(super) fn gcd(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.abs()
}

/// The least common multiple, or `None` where it doesn't fit.
pub(super) fn lcm(a: i64, b: i64) -> Option<i64> {
    let common = gcd(a, b);
    if common == 0 { None } else { (a / common).checked_mul(b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_exact_and_strict() {
        assert_eq!(Decimal::parse("12"), Some(Decimal { n: 12, d: 1 }));
        assert_eq!(Decimal::parse("-0.5"), Some(Decimal { n: -1, d: 2 }));
        assert_eq!(Decimal::parse("2.50"), Some(Decimal { n: 5, d: 2 }));
        assert_eq!(Decimal::parse(".25"), Some(Decimal { n: 1, d: 4 }));
        assert_eq!(Decimal::parse("3."), Some(Decimal { n: 3, d: 1 }));
        for no in ["", "-", ".", "NaN", "inf", "1e3", "1,5", "0x1", "1234567890123456789", "--1"] {
            assert_eq!(Decimal::parse(no), None, "{no}");
        }
    }
}
