//! The content security policy of a page: nothing from anywhere, and of styles and scripts only
//! those that stand in the page, by their hashes.
//!
//! It owns the policy's text (Content Security Policy Level 3, W3C: `default-src`,
//! `hash-source`). The hashes are computed from what the page is made of when it is made, so
//! none can be out of date.

use sha2::{Digest, Sha256};

/// The policy of a page with these style sheets and scripts.
pub(super) fn policy<'a>(
    styles: impl IntoIterator<Item = &'a str>,
    scripts: impl IntoIterator<Item = &'a str>,
) -> String {
    let mut text = String::from("default-src 'none'");
    push(&mut text, "style-src", styles);
    push(&mut text, "script-src", scripts);
    text.push_str("; base-uri 'none'; form-action 'none'");
    text
}

/// A directive with the hash of each content; without any it would forbid nothing new.
fn push<'a>(text: &mut String, name: &str, contents: impl IntoIterator<Item = &'a str>) {
    let sources: Vec<String> = contents.into_iter().map(hash_source).collect();
    if !sources.is_empty() {
        text.push_str(&format!("; {name} {}", sources.join(" ")));
    }
}

fn hash_source(content: &str) -> String {
    format!("'sha256-{}'", base64(&Sha256::digest(content.as_bytes())))
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for chunk in bytes.chunks(3) {
        let byte = |index: usize| u32::from(chunk.get(index).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for digit in 0..4 {
            let value = (bits >> (18 - 6 * digit) & 63) as usize;
            text.push(if digit <= chunk.len() { char::from(DIGITS[value]) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 4648, section 10, "Test Vectors".
    #[test]
    fn base64_is_that_of_the_standard() {
        let made = ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|t| base64(t.as_bytes()));
        assert_eq!(made, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
    }

    // The example of the standard, where it tells of `hash-source`; from memory, and `openssl
    // dgst -sha256 -binary | base64` says the same of that text.
    #[test]
    fn a_hash_is_written_as_the_policy_standard_writes_it() {
        assert_eq!(
            hash_source("alert('Hello, world.');"),
            "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
        );
    }
}
