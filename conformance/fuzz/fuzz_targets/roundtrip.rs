//! Any operations under each encoding: decoding gives them back, one by one and
//! in a row; and any bytes that decode are what the encoder writes for them.
#![no_main]

use libfuzzer_sys::{arbitrary, fuzz_target};
use scruple_bytecode::encoding::{Byte, CODE_PADDING, Decoder, Form, Implied, Leb, Word};
use scruple_bytecode::{Encoding, Op};

#[derive(Debug, arbitrary::Arbitrary)]
struct Input {
    operations: Vec<(u8, i32)>,
    code: Vec<u8>,
}

/// Fetches as the interpreter does, which does not ask whether the bytes are right.
fn fetch<D: Decoder>(code: &[u8], at: usize) -> (Op, i32, usize) {
    let arm = D::ARMS[code[at] as usize];
    let (bits, next) = D::operand(arm, code, at);
    let opcode = if arm.form == Form::Wide { code[at + 1] } else { arm.opcode };
    let op = Op::from_opcode(opcode).expect("an operation");
    (op, op.info().operand.from_bits(bits, D::ZIGZAG), next)
}

fn fetch_in(encoding: Encoding, code: &[u8], at: usize) -> (Op, i32, usize) {
    match encoding {
        Encoding::Word => fetch::<Word>(code, at),
        Encoding::Byte => fetch::<Byte>(code, at),
        Encoding::Leb => fetch::<Leb>(code, at),
        Encoding::Implied => fetch::<Implied>(code, at),
    }
}

fuzz_target!(|input: Input| {
    for &encoding in Encoding::ALL {
        let mut code = Vec::new();
        let mut wanted = Vec::new();
        for &(number, operand) in &input.operations {
            let op = Op::ALL[number as usize % Op::ALL.len()];
            // An operand that an encoding refuses, every encoding refuses.
            let encoded = encoding.encode(op, operand);
            assert_eq!(encoded.is_some(), Encoding::Word.encode(op, operand).is_some());
            if let Some(encoded) = encoded {
                code.extend_from_slice(encoded.as_slice());
                wanted.push((op, operand, code.len()));
            }
        }
        code.extend([0; CODE_PADDING]);
        let mut at = 0;
        for expected in wanted {
            let fetched = encoding.decode(&code, at).expect("what the encoder wrote");
            assert_eq!((fetched.op, fetched.operand, fetched.next), expected);
            assert_eq!(fetch_in(encoding, &code, at), expected);
            at = fetched.next;
        }
        for at in 0..input.code.len() {
            let Some(fetched) = encoding.decode(&input.code, at) else { continue };
            let encoded = encoding.encode(fetched.op, fetched.operand).expect("its operand");
            assert_eq!(encoded.as_slice(), &input.code[at..fetched.next]);
        }
    }
});
