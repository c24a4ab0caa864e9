//! Answers packed with gzip for browsers that take them: the page of 1,000 pumps goes to a tablet by radio.
//!
//! No answer holds a secret beside what a stranger may have put in: cookies stand in headers alone, and requests of other
//! pages are refused.

use std::io::{self, Write};

use axum::body::{Body, HttpBody, to_bytes};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::Response;
use flate2::Compression;
use flate2::write::GzEncoder;

/// Least answer that is packed, in bytes: a smaller one fits into one packet as it is.
const LEAST: u64 = 1_400;

/// Whether a browser takes gzip.
pub(super) fn is_accepted(headers: &HeaderMap) -> bool {
    let lines = headers.get_all(header::ACCEPT_ENCODING).iter();
    let mut codings = lines.filter_map(|line| line.to_str().ok()).flat_map(|line| line.split(','));
    codings.any(|coding| {
        let mut parts = coding.split(';').map(str::trim);
        let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip"));
        let refused = |weight: &str| {
            let number = weight.strip_prefix("q=").and_then(|number| number.parse::<f32>().ok());
            number.is_some_and(|number| number <= 0.0)
        };
        named && !parts.any(refused)
    })
}

/// The answer packed, if it is a text whose end is known: a stream of events goes on as it comes.
pub(super) async fn packed(answer: Response) -> Response {
    let (mut head, body) = answer.into_parts();
    let kind = head.headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let is_text = kind.is_some_and(|kind| {
        ["text/html", "text/css", "text/javascript", "application/json"]
            .iter()
            .any(|text| kind.starts_with(text))
    });
    let is_long = body.size_hint().exact().is_some_and(|length| length >= LEAST);
    if !is_text || !is_long {
        return Response::from_parts(head, body);
    }
    let Ok(whole) = to_bytes(body, usize::MAX).await else {
        head.status = axum::http::StatusCode::INTERNAL_SERVER_ERROR;
        return Response::from_parts(head, Body::empty());
    };
    let bytes = whole.clone();
    let packed = tokio::task::spawn_blocking(move || gzip(&bytes)).await;
    head.headers.append(header::VARY, HeaderValue::from_static("accept-encoding"));
    match packed {
        Ok(Ok(packed)) => {
            head.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
            head.headers.remove(header::CONTENT_LENGTH);
            Response::from_parts(head, Body::from(packed))
        }
        _ => Response::from_parts(head, Body::from(whole)),
    }
}

fn gzip(bytes: &[u8]) -> io::Result<Vec<u8>> {
    let mut packer = GzEncoder::new(Vec::with_capacity(bytes.len() / 8), Compression::fast());
    packer.write_all(bytes)?;
    packer.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_browser_says_what_it_takes() {
        for (line, taken) in [
            ("gzip, deflate, br", true),
            ("br;q=1.0, GZIP;q=0.5", true),
            ("gzip;q=0", false),
            ("gzip; q=0.000, *", false),
            ("identity", false),
            ("", false),
        ] {
            let mut headers = HeaderMap::new();
            headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_str(line).unwrap());
            assert_eq!(is_accepted(&headers), taken, "{line}");
        }
    }
}
