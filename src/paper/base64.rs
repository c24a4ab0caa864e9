//! Base64 as RFC 4648, section 4, has it: pictures and hashes within a page.

const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// Bytes as text.
pub(super) fn base64(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let [a, b, c] = [0, 1, 2].map(|at| u32::from(group.get(at).copied().unwrap_or(0)));
        let bits = a << 16 | b << 8 | c;
        for (at, shift) in [18, 12, 6, 0].into_iter().enumerate() {
            let letter = LETTERS[(bits >> shift & 63) as usize];
            text.push(if at <= group.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    /// The test vectors of RFC 4648, section 10 (from memory).
    #[test]
    fn texts_are_those_of_the_standard() {
        let shown =
            ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|text| base64(text.as_bytes()));
        assert_eq!(shown, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
        assert_eq!(base64(&[0xff, 0xef]), "/+8=");
    }
}
