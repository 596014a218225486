//! Looking up response codes by command [ST-04].

use super::by_command_read::READ;
use super::by_command_recalled::RECALLED;
#[cfg(doc)]
use super::general::UNDEFINED;
use super::general::{Code, CodeClass, CodeList, general};

/// All lists, those from sources first, each part lowest command first [ST-04].
pub fn lists() -> impl Iterator<Item = &'static CodeList> {
    READ.iter().chain(RECALLED)
}

/// The list of a command; `None` when neither sources nor memory have one [ST-04].
pub fn list(command: u16) -> Option<&'static CodeList> {
    let within = |lists: &'static [CodeList]| {
        lists.binary_search_by_key(&command, |list| list.command).ok().map(|at| &lists[at])
    };
    within(READ).or_else(|| within(RECALLED))
}

/// The response codes of a command, lowest first; empty when there is no list [ST-04].
pub fn codes(command: u16) -> &'static [Code] {
    list(command).map_or(&[], |list| list.codes)
}

/// The class of a response code and its meaning for `command`: from the command's list, or else the
/// general meaning [ST-03] [ST-04]. `None` is printed as [`UNDEFINED`].
pub fn meaning(command: u16, code: u8) -> (CodeClass, Option<&'static str>) {
    codes(command)
        .iter()
        .find(|row| row.code == code)
        .map_or_else(|| general(code), |row| (row.class, Some(row.text)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::status::general::SUCCESS;

    fn numbers(command: u16) -> Vec<u8> {
        codes(command).iter().map(|code| code.code).collect()
    }

    #[test]
    fn lists_are_in_order_and_no_command_is_in_two() {
        for part in [READ, RECALLED] {
            for pair in part.windows(2) {
                assert!(pair[0].command < pair[1].command, "{}", pair[1].command);
            }
        }
        for list in lists() {
            let command = list.command;
            assert_eq!(numbers(command), list.codes.iter().map(|c| c.code).collect::<Vec<_>>());
            assert_eq!(list.codes[0], SUCCESS, "{command}");
            for pair in list.codes.windows(2) {
                assert!(pair[0].code < pair[1].code, "{command}: {}", pair[1].code);
            }
            for code in list.codes {
                assert_eq!(code.class, general(code.code).0, "{command}: {}", code.code);
                assert_eq!(meaning(command, code.code), (code.class, Some(code.text)));
            }
        }
        assert!(READ.iter().all(|list| matches!(list.grade, 'H' | 'M')));
        assert!(RECALLED.iter().all(|list| list.grade == 'R'));
        assert!(RECALLED.iter().all(|list| READ.iter().all(|r| r.command != list.command)));
    }

    #[test]
    fn lists_of_the_sources() {
        // [MXQ] p61-70, [BIF] p20-44, protocol-2 B; 68 by the pattern of 67; 2 of 104 is in [BIF] alone.
        let lists: &[(&[u16], &[u8])] = &[
            (&[0, 11, 21], &[0]),
            (&[1, 2, 3], &[0, 6, 8, 16]),
            (&[6], &[0, 2, 5, 6, 7, 12, 16, 32]),
            (&[7, 8], &[0, 16]),
            (&[9], &[0, 2, 5, 6, 8, 14, 16, 30]),
            (&[12, 13, 14, 15, 16, 20], &[0, 16, 32]),
            (&[17, 19], &[0, 5, 6, 7, 16, 32]),
            (&[18], &[0, 5, 6, 7, 9, 16, 32]),
            (&[22], &[0, 5, 6, 7, 16, 32, 33, 34, 35, 36]),
            (&[38], &[0, 5, 6, 7, 9, 16]),
            (&[48], &[0, 5, 6, 8, 14, 16]),
            (&[50], &[0, 6, 16]),
            (&[51, 56], &[0, 2, 5, 6, 7, 16, 32]),
            (&[53], &[0, 5, 6, 7, 11, 12, 16, 32]),
            (&[54], &[0, 2, 5, 6, 16, 32]),
            (&[59], &[0, 3, 4, 5, 6, 7, 8, 16, 32]),
            (&[63], &[0, 2, 5, 6, 16]),
            (&[65], &[0, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 28, 29, 32]),
            (&[66], &[0, 3, 4, 5, 6, 7, 11, 12, 15, 16, 32]),
            (&[67, 68], &[0, 3, 4, 5, 6, 7, 9, 10, 11, 12, 15, 16, 32]),
            (&[71], &[0, 5, 6, 10, 11, 16, 32, 33, 34, 35, 36]),
            (&[76], &[0, 6, 16, 32]),
            (&[78], &[0, 2, 5, 6, 8, 9, 30, 32, 33, 34, 35, 36]),
            (&[79], &[0, 2, 5, 6, 7, 8, 10, 14, 16, 17, 18, 19, 32, 33, 34, 35, 36]),
            (&[91], &[0, 5, 6, 11]),
            (&[92], &[0, 2, 3, 4, 5, 6, 7, 8, 11, 16, 17]),
            (&[93], &[0, 5, 6, 8, 11]),
            (&[95], &[0, 6]),
            (&[103], &[0, 5, 6, 7, 8, 9, 16, 32, 33, 34, 35, 36]),
            (&[104], &[0, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 16, 32, 33, 34, 35, 36]),
            (&[106], &[0, 6, 8, 16, 32]),
            (&[107, 108], &[0, 2, 5, 6, 7, 8, 9, 16]),
            (&[109], &[0, 2, 5, 6, 7, 8, 9, 16, 32, 33, 34, 35, 36]),
            (&[115], &[0, 2, 5, 6]),
            (&[116], &[0, 2, 5, 6, 7, 16]),
        ];
        for (commands, codes) in lists {
            for &command in *commands {
                assert_eq!(numbers(command), *codes, "{command}");
            }
        }
    }

    #[test]
    fn every_command_of_the_sources_has_a_list() {
        // The first column of the table of [MXQ] and [BIF], protocol-2 B; 68 is by pattern.
        let expected = [
            0, 1, 2, 3, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 38, 48, 50, 51, 53, 54,
            56, 59, 63, 65, 66, 67, 71, 76, 78, 79, 91, 92, 93, 95, 103, 104, 106, 107, 108, 109, 115, 116,
        ];
        let commands: Vec<u16> = READ.iter().map(|list| list.command).collect();
        assert_eq!(commands, expected);
    }

    #[test]
    fn one_code_means_different_things() {
        // [MXQ] [BIF]: 9 is an invalid date code for 18, a counter mismatch for 38.
        assert_eq!(meaning(18, 9).1, Some("invalid date code"));
        assert_eq!(meaning(38, 9).1, Some("configuration change counter mismatch"));
        // 8 is update in progress for 48 and nearest possible value for 59, both warnings.
        assert_eq!(meaning(48, 8), (CodeClass::Warning, Some("update in progress")));
        assert_eq!(meaning(59, 8), (CodeClass::Warning, Some("set to nearest possible value")));
    }

    #[test]
    fn codes_outside_a_list_have_their_general_meaning() {
        assert_eq!(meaning(0, 64).1, Some("command not implemented"));
        assert_eq!(meaning(0, 9), (CodeClass::Error, None));
        assert_eq!(meaning(1234, 5).1, Some("too few data bytes"));
        assert!(list(1234).is_none() && codes(1234).is_empty());
    }
}
