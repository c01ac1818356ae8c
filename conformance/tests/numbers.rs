//! Number to text (ECMA-262, Number::toString) against RFC 8785.
//!
//! Appendix B gives doubles and their texts. The author of the RFC also
//! publishes SHA-256 hashes over a stream of such lines, in the test data of
//! cyberphone/json-canonicalization; the stream's generator here is written from
//! memory, and it is right if the hashes come out.

use scruple_conformance::{Quiet, QuietCompact};
use scruple_vm::{Host, Layout, Narrow, Options, Vm, Wide};
use sha2::{Digest, Sha256};

fn text<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, number: f64) -> String {
    let mut text = String::new();
    let value = vm.number(number).expect("room for a number");
    vm.write_text(value, &mut text).expect("room for its text");
    text
}

/// Source: RFC 8785, appendix B: the 24 rows that are finite.
const APPENDIX_B: [(u64, &str); 24] = [
    (0x0000000000000000, "0"),
    (0x8000000000000000, "0"),
    (0x0000000000000001, "5e-324"),
    (0x8000000000000001, "-5e-324"),
    (0x7fefffffffffffff, "1.7976931348623157e+308"),
    (0xffefffffffffffff, "-1.7976931348623157e+308"),
    (0x4340000000000000, "9007199254740992"),
    (0xc340000000000000, "-9007199254740992"),
    (0x4430000000000000, "295147905179352830000"),
    (0x44b52d02c7e14af5, "9.999999999999997e+22"),
    (0x44b52d02c7e14af6, "1e+23"),
    (0x44b52d02c7e14af7, "1.0000000000000001e+23"),
    (0x444b1ae4d6e2ef4e, "999999999999999700000"),
    (0x444b1ae4d6e2ef4f, "999999999999999900000"),
    (0x444b1ae4d6e2ef50, "1e+21"),
    (0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"),
    (0x3eb0c6f7a0b5ed8d, "0.000001"),
    (0x41b3de4355555553, "333333333.3333332"),
    (0x41b3de4355555554, "333333333.33333325"),
    (0x41b3de4355555555, "333333333.3333333"),
    (0x41b3de4355555556, "333333333.3333334"),
    (0x41b3de4355555557, "333333333.33333343"),
    (0xbecbf647612f3696, "-0.0000033333333333333333"),
    (0x43143ff3c1cb0959, "1424953923781206.2"),
];

#[test]
fn appendix_b_of_rfc_8785_comes_out() {
    fn check<L: Layout, H: Host + Default>() {
        let mut region = vec![L::Slot::default(); 4096];
        let mut vm: Vm<'_, L, H> = Vm::new(&mut region, H::default(), Options::default());
        for (bits, expected) in APPENDIX_B {
            assert_eq!(text(&mut vm, f64::from_bits(bits)), expected, "{bits:016x}");
        }
        assert_eq!(text(&mut vm, f64::NAN), "NaN");
        assert_eq!(text(&mut vm, f64::NEG_INFINITY), "-Infinity");
    }
    check::<Narrow, Quiet>();
    check::<Wide, Quiet>();
    check::<Narrow, QuietCompact>();
}

const BOTH_SIGNS: [u64; 50] = [
    0xc46696695dbd1cc3,
    0xc43211ede4974a35,
    0xc3fce97ca0f21056,
    0xc3c7213080c1a6ac,
    0xc39280f39a348556,
    0xc35d9b1f5d20d557,
    0xc327af4c4a80aaac,
    0xc2f2f2a36ecd5556,
    0xc2be51057e155558,
    0xc28840d131aaaaac,
    0xc253670dc1555557,
    0xc21f0b4935555557,
    0xc1e8d5d42aaaaaac,
    0xc1b3de4355555556,
    0xc17fca0555555556,
    0xc1496e6aaaaaaaab,
    0xc114585555555555,
    0xc0e046aaaaaaaaab,
    0xc0aa0aaaaaaaaaaa,
    0xc074d55555555555,
    0xc040aaaaaaaaaaab,
    0xc00aaaaaaaaaaaab,
    0xbfd5555555555555,
    0xbfa1111111111111,
    0xbf6b4e81b4e81b4f,
    0xbf35d867c3ece2a5,
    0xbf0179ec9cbd821e,
    0xbecbf647612f3696,
    0xbe965e9f80f29212,
    0xbe61e54c672874db,
    0xbe2ca213d840baf8,
    0xbdf6e80fe033c8c6,
    0xbdc2533fe68fd3d2,
    0xbd8d51ffd74c861c,
    0xbd5774ccac3d3817,
    0xbd22c3d6f030f9ac,
    0xbcee0624b3818f79,
    0xbcb804ea293472c7,
    0xbc833721ba905bd3,
    0xbc4ebe9c5db3c61e,
    0xbc18987d17c304e5,
    0xbbe3ad30dfcf371d,
    0xbbaf7b816618582f,
    0xbb792f9ab81379bf,
    0xbb442615600f9499,
    0xbb101e77800c76e1,
    0xbad9ca58cce0be35,
    0xbaa4a1e0a3e6fe90,
    0xba708180831f320d,
    0xba3a68cd9e985016,
];

const SINGLE: [u64; 64] = [
    0x4024000000000000,
    0x4014000000000000,
    0x3fe0000000000000,
    0x3fa999999999999a,
    0x3f747ae147ae147b,
    0x3f40624dd2f1a9fc,
    0x3f0a36e2eb1c432d,
    0x3ed4f8b588e368f1,
    0x3ea0c6f7a0b5ed8d,
    0x3e6ad7f29abcaf48,
    0x3e35798ee2308c3a,
    0x3ed539223589fa95,
    0x3ed4ff26cd5a7781,
    0x3ed4f95a762283ff,
    0x3ed4f8c60703520c,
    0x3ed4f8b72f19cd0d,
    0x3ed4f8b5b31c0c8d,
    0x3ed4f8b58d1c461a,
    0x3ed4f8b5894f7f0e,
    0x3ed4f8b588ee37f3,
    0x3ed4f8b588e47da4,
    0x3ed4f8b588e3849c,
    0x3ed4f8b588e36bb5,
    0x3ed4f8b588e36937,
    0x3ed4f8b588e368f8,
    0x3ed4f8b588e368f1,
    0x3ff0000000000000,
    0xbff0000000000000,
    0xbfeffffffffffffa,
    0xbfeffffffffffffb,
    0x3feffffffffffffa,
    0x3feffffffffffffb,
    0x3feffffffffffffc,
    0x3feffffffffffffe,
    0xbfefffffffffffff,
    0xbfefffffffffffff,
    0x3fefffffffffffff,
    0x3fefffffffffffff,
    0x3fd3333333333332,
    0x3fd3333333333333,
    0x3fd3333333333334,
    0x0010000000000000,
    0x000ffffffffffffd,
    0x000fffffffffffff,
    0x7fefffffffffffff,
    0xffefffffffffffff,
    0x4340000000000000,
    0xc340000000000000,
    0x4430000000000000,
    0x44b52d02c7e14af5,
    0x44b52d02c7e14af6,
    0x44b52d02c7e14af7,
    0x444b1ae4d6e2ef4e,
    0x444b1ae4d6e2ef4f,
    0x444b1ae4d6e2ef50,
    0x3eb0c6f7a0b5ed8c,
    0x3eb0c6f7a0b5ed8d,
    0x41b3de4355555553,
    0x41b3de4355555554,
    0x41b3de4355555555,
    0x41b3de4355555556,
    0x41b3de4355555557,
    0xbecbf647612f3696,
    0x43143ff3c1cb0959,
];

fn stream() -> impl Iterator<Item = u64> {
    let negative = BOTH_SIGNS.into_iter();
    let positive = BOTH_SIGNS.into_iter().map(|bits| bits & (u64::MAX >> 1));
    let serial = (0..2000).map(|step| 0x0010_0000_0000_0000 + step);
    let mut block = [0u8; 32];
    let random = std::iter::from_fn(move || {
        block = Sha256::digest(block).into();
        Some(block)
    })
    .flat_map(|block| {
        let words: Vec<u64> = block
            .chunks_exact(8)
            .map(|bytes| u64::from_le_bytes(bytes.try_into().expect("eight bytes")))
            .collect();
        words
    })
    .filter(|&bits| f64::from_bits(bits).is_finite() && f64::from_bits(bits) != 0.0);
    [0, 1 << 63, 1, 1 << 63 | 1]
        .into_iter()
        .chain(negative)
        .chain(positive)
        .chain(SINGLE)
        .chain(serial)
        .chain(random)
}

#[test]
fn the_number_stream_hashes_as_published_over_100_000_lines() {
    check_stream::<Quiet>();
}

// By the exact arithmetic that a board has instead of tables.
#[test]
fn the_compact_conversion_hashes_alike() {
    check_stream::<QuietCompact>();
}

fn check_stream<H: Host + Default>() {
    let published = [
        (1_000, "be18b62b6f69cdab33a7e0dae0d9cfa869fda80ddc712221570f9f40a5878687"),
        (10_000, "b9f7a8e75ef22a835685a52ccba7f7d6bdc99e34b010992cbc5864cd12be6892"),
        (100_000, "22776e6d4b49fa294a0d0f349268e5c28808fe7e0cb2bcbe28f63894e494d4c7"),
    ];
    let mut region = vec![0u32; 16 * 1024];
    let mut vm: Vm<'_, Narrow, H> = Vm::new(&mut region, H::default(), Options::default());
    let mut hash = Sha256::new();
    let mut lines = 0;
    let mut checked = 0;
    for bits in stream().take(100_000) {
        let number = f64::from_bits(bits);
        hash.update(format!("{bits:x},{}\n", text(&mut vm, number)));
        lines += 1;
        if let Some((_, digest)) = published.iter().find(|(count, _)| *count == lines) {
            assert_eq!(format!("{:x}", hash.clone().finalize()), *digest, "{lines} lines");
            checked += 1;
        }
    }
    assert_eq!(checked, published.len());
}
