//! No image, however damaged, makes the verifier or the machine panic.
//!
//! Our own invariant (design: "any input whatever: a result or an error"). The
//! mutations are the same on every run.

use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_bytecode::encoding::CODE_PADDING;
use scruple_bytecode::image::{FUNCTION_RECORD_LEN, Image, MAX_CODE, checksum, header, record};
use scruple_bytecode::operand::FunctionId;
use scruple_conformance::Quiet;
use scruple_vm::{Narrow, Options, Vm};

const SOURCES: [&str; 5] = [
    "var total = 0; for (let i = 0; i < 9; i++) { total += i * 1.5; } console.log(total, 'done');",
    "function f(a, b) { return function () { a += b; return a; }; } var g = f(1, 2); g(); console.log(g());",
    "function A(x) { this.x = x; } A.prototype.y = 3; var o = {p: [1, , 'two'], get q() { return this.p.length; }};
     for (var k in o) console.log(k, o[k]); try { null.z; } catch (e) { console.log(e.name); } finally { o = new A(5); }
     switch (o.x) { case 4: break; case 5: for (const c of 'ab') console.log(c); }",
    "console.log([3, 1, 2].sort().map(n => n * 2).join(), JSON.stringify({a: [1, {b: null}]}), arguments_(1, 2));
     function arguments_() { return arguments.length; }",
    "class A { n = 1; ['k' + 1] = () => this.n; static s = 2; static { this.t = 3; } get g() { return 4; } m() { return 'A' + this.n; } }
     class B extends A { constructor(...a) { var f = () => super(...a); f(); this.x = new.target === B; } m() { super.n++; return super.m() + super['g']; } }
     class C extends B {} console.log(new C(1).m(), C.t, new C().k1()); function F() { return new.target; } new F();
     var o = {__proto__: {h() { return 1; }}, h() { return super.h(); }}; console.log(o.h()); try { B(); } catch (e) { console.log(e.name); }",
];

/// A linear congruential generator (Numerical Recipes' constants, from memory):
/// any sequence would do.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.0 >> 33) as usize) % sides
    }
}

fn mutate(image: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..1 + dice.roll(3) {
        let at = dice.roll(image.len());
        match dice.roll(6) {
            0 => image[at] = dice.roll(256) as u8,
            1 => image[at] ^= 1 << dice.roll(8),
            2 => image[at] = [0, 0xff, 0x7f, 0x80][dice.roll(4)],
            3 => image.truncate(at.max(1)),
            4 => image.insert(at, dice.roll(256) as u8),
            _ => {
                let from = dice.roll(image.len());
                image[at] = image[from];
            }
        }
    }
}

/// Puts the right checksum in, so that the damage reaches the verifier.
fn seal(image: &mut [u8]) {
    if image.len() > header::AT_CHECKSUM + 4 {
        let sum = checksum(&image[header::AT_CHECKSUM + 4..]);
        image[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
    }
}

#[test]
fn damaged_images_are_refused_or_run_within_their_bounds() {
    let mut jobs = Vec::new();
    for source in SOURCES {
        for &encoding in Encoding::ALL {
            let options = scruple_compiler::Options { encoding, ..Default::default() };
            let image = scruple_compiler::compile(source, &options).expect("a script").image;
            assert!(Image::open(&image).is_ok());
            for seed in 0..2_500u64 {
                jobs.push((image.clone(), seed));
            }
        }
    }
    let accepted: usize = jobs
        .into_par_iter()
        .map(|(mut image, seed)| {
            let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) + image.len() as u64);
            mutate(&mut image, &mut dice);
            seal(&mut image);
            let mut region = vec![0u32; 8192];
            let options = Options { budget: 20_000, ..Options::default() };
            let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), options);
            if vm.load(&image).is_err() {
                return 0;
            }
            // Any end will do but a panic.
            let _ = vm.run();
            assert!(vm.ledger().audit(), "seed {seed}: the ledger does not add up");
            1
        })
        .sum();
    assert!(accepted > 1000, "only {accepted} got past the verifier");
}

/// The image of a script with one number constant, whose bits become these.
fn with_number(bits: u64) -> Vec<u8> {
    let options = scruple_compiler::Options::default();
    let source = "console.log(typeof 1.2345);";
    let mut image = scruple_compiler::compile(source, &options).expect("a script").image;
    let wanted = 1.2345f64.to_le_bytes();
    let at = image.windows(8).position(|bytes| bytes == wanted).expect("the constant");
    image[at..at + 8].copy_from_slice(&bits.to_le_bytes());
    seal(&mut image);
    image
}

// Found by the fuzz target `image`: under `wide` such a constant was a reference
// to whatever cell the image named.
#[test]
fn a_number_constant_that_would_read_as_a_reference_is_refused() {
    let verify = |image: &[u8]| {
        let mut scratch = vec![0u16; image.len()];
        scruple_bytecode::verify(image, scratch.as_mut_slice()).map(drop)
    };
    assert_eq!(verify(&with_number(f64::NAN.to_bits())), Ok(()));
    for bits in [0xfff8_0002_0000_0400, 0xfff0_0000_0000_0001, 0x7ff8_0000_0000_0001] {
        let error = verify(&with_number(bits)).expect_err("a NaN other than the usual one");
        assert!(error.to_string().contains("NaN"), "{error}");
    }
}

/// Our own invariant: a place in the code has 24 bits wherever one is kept, so code past
/// that would be returned to elsewhere. (An image with a script behind the border was
/// accepted once, and took the machine out of its bounds.)
#[test]
fn an_image_with_more_code_than_a_place_can_tell_is_refused() {
    let image = scruple_compiler::compile("1;", &Default::default()).expect("a script").image;
    let field = |at: usize| u32::from_le_bytes(image[at..at + 4].try_into().expect("four bytes"));
    let n_code = field(header::AT_CODE) as usize;
    let behind = field(header::AT_LINES) as usize;
    let with_code = |n_bytes: usize| {
        let mut longer = image.clone();
        let end = longer.len() - behind;
        longer.splice(end..end, std::iter::repeat_n(0, n_bytes - n_code));
        longer[header::AT_CODE..header::AT_CODE + 4]
            .copy_from_slice(&(n_bytes as u32).to_le_bytes());
        seal(&mut longer);
        Image::open(&longer).map(|_| ()).map_err(|error| error.to_string())
    };
    assert_eq!(with_code(MAX_CODE + CODE_PADDING), Ok(()));
    let refused = with_code(MAX_CODE + CODE_PADDING + 1).expect_err("too much code");
    assert!(refused.contains("16777216 bytes of instructions"), "{refused}");
}

/// Bytes of a record of an image, where its functions' lists and free variables are told.
fn lists_of(image: &[u8], function: usize) -> std::ops::Range<usize> {
    let opened = Image::open(image).expect("an image of ours");
    let records = opened.records().as_ptr() as usize - image.as_ptr() as usize;
    let record = records + FUNCTION_RECORD_LEN * function;
    // What follows is put in one piece: the lists, three bytes, and the flags behind them.
    record + record::AT_LISTS..record + FUNCTION_RECORD_LEN
}

/// Gives a function the lists of another one.
fn with_lists_of(image: &[u8], of: usize, to: usize) -> Vec<u8> {
    let mut changed = image.to_vec();
    let (from, to) = (lists_of(image, of), lists_of(image, to));
    let lists = image[from].to_vec();
    changed[to].copy_from_slice(&lists);
    seal(&mut changed);
    changed
}

fn refused(image: &[u8]) -> String {
    let mut region = vec![0u32; 60_000];
    let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), Options::default());
    vm.load(image).expect_err("it is to be refused").to_string()
}

/// Our own invariant: the machine makes the script's closure itself, with room for no
/// captures. (It was accepted once, and what lay behind the closure was taken for one.)
#[test]
fn a_script_that_says_it_captures_is_refused() {
    let source = "function f() { let n = 0; return function () { return n++; }; } f()();";
    let image = scruple_compiler::compile(source, &Default::default()).expect("a script").image;
    let opened = Image::open(&image).expect("an image of ours");
    let captures = |index| {
        let id = FunctionId::new(index).expect("a function's number");
        opened.function(id).expect("a function").n_captures()
    };
    let inner = (0..opened.n_functions()).find(|&index| captures(index) > 0).expect("one captures");
    let text = refused(&with_lists_of(&image, inner, opened.n_functions() - 1));
    assert!(text.contains("lists"), "{text}");
}
