//! Calls in tail position, over a stack of a few kilobytes (ECMA-262, "Tail Position
//! Calls": a chain of them takes bounded room). The answers are sums a reader can do,
//! or follow from the clause.

use scruple_bytecode::Encoding;
use scruple_conformance::{End, LayoutName, Outcome, Setup, Way, run};

/// A region in which some hundreds of frames fit.
fn small() -> Setup {
    Setup { slots: 4096, tail_calls: true, ..Setup::default() }
}

fn everywhere(source: &str, printed: &str) {
    for &encoding in Encoding::ALL {
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            for way in [Way::Quick, Way::Stepped, Way::Compact] {
                let outcome = run(&[source], &Setup { encoding, layout, way, ..small() });
                let seen = (outcome.printed.as_str(), &outcome.end);
                assert_eq!(seen, (printed, &End::Finished), "{encoding:?} {layout:?} {way:?}");
                assert!(outcome.ledger.audit(), "the ledger does not add up");
            }
        }
    }
}

fn overflows(outcome: &Outcome) -> bool {
    matches!(&outcome.end, End::Stopped(text) if text.contains("stack limit"))
}

#[test]
fn a_chain_of_tail_calls_takes_bounded_room() {
    everywhere(
        "function even(n) { return n === 0 ? true : odd(n - 1); }
         function odd(n, unused, other) { var kept = n; return kept === 0 ? false : even(n - 1); }
         console.log(even(20000), odd(20000));",
        "true false\n",
    );
}

#[test]
fn every_tail_position_of_an_expression_counts() {
    // ECMA-262, HasCallInTailPosition of expressions: conditional, &&, ||, ??, comma;
    // a member call is one as well.
    everywhere(
        "var o = { down: function (n) { return n > 0 && this.up(n - 1); },
                   up: function (n) { return n < 0 || this.side(n); },
                   side: function (n) { return null ?? this.last(n); },
                   last: function (n) { return 0, (n < 1 ? n : this.down(n)); } };
         console.log(o.down(9001));",
        "0\n",
    );
}

#[test]
fn frames_that_have_something_left_to_do_stay_and_their_operands_move() {
    // 5,000 calls, of which each fiftieth adds one to what it gets, the others to what
    // they pass on.
    everywhere(
        "function sum(n, a) {
           var local = n;
           if (n === 0) return a;
           if (n % 50 === 0) return 1 + sum(n - 1, a) + local - n;
           return sum(n - 1, a + 1);
         }
         console.log(10 + sum(5000, 0));",
        "5010\n",
    );
}

#[test]
fn frames_with_an_arguments_object_and_captured_variables_fold() {
    everywhere(
        "var last;
         function go(n, step) {
           var before = step;
           last = function () { return before + arguments.length + n; };
           if (n === 0) return last(1, 2);
           return step === arguments[1] ? go(n - 1, step) : 'wrong';
         }
         console.log(go(8000, 4));",
        "6\n",
    );
}

#[test]
fn what_a_built_in_calls_folds_above_it_and_comes_back_to_it() {
    everywhere(
        "function down(n) { return n === 0 ? 'done' : down(n - 1); }
         console.log([1, 2, 3].map(function (n) { return down(3000 * n); }).join());
         function through(n) { return n === 0 ? down(4000) : [n - 1].map(through)[0]; }
         console.log(through(3));",
        "done,done,done\ndone\n",
    );
}

#[test]
fn a_call_that_a_handler_guards_is_in_no_tail_position() {
    // The same clause: a call in the block of a try statement is none, one in `finally`
    // is.
    let guarded = "function f(n) { try { return n === 0 ? 0 : f(n - 1); } catch (e) { return 1; } }
        console.log(f(20000));";
    assert!(overflows(&run(&[guarded], &small())));
    everywhere(
        "function g(n) { try { n--; } finally { return n <= 0 ? 'end' : g(n); } }
         console.log(g(9000));
         function thrower(n) { if (n === 0) throw 'far'; return thrower(n - 1); }
         try { thrower(9000); } catch (e) { console.log(e); }",
        "end\nfar\n",
    );
}

#[test]
fn a_constructor_still_gives_its_object() {
    everywhere(
        "function down(n) { return n === 0 ? 7 : down(n - 1); }
         function Gauge(n) { this.level = n; return down(9000); }
         console.log(new Gauge(3).level);
         function make(n) { return n === 0 ? new Gauge(5) : make(n - 1); }
         console.log(make(9000).level);",
        "3\n5\n",
    );
}

#[test]
fn without_the_option_the_stack_limit_ends_a_recursion_without_end() {
    let endless = "function f() { return f(); } f();";
    assert!(overflows(&run(&[endless], &Setup { tail_calls: false, ..small() })));
    let spent = run(&[endless], &Setup { budget: 1_000_000, ..small() });
    assert!(matches!(&spent.end, End::Stopped(text) if text.contains("budget")), "{spent:?}");
}
