//! The codes of countries.
//!
//! Source: ISO 3166-1, alpha-2, the 249 codes that are officially assigned.

/// All of them, each once.
const CODES: &str = "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS \
    BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE \
    EG EH ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM \
    HN HR HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC \
    LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA \
    NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW \
    SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO \
    TR TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW";

/// Whether a text is the code of a country, in capital letters.
#[must_use]
pub fn is_country(code: &str) -> bool {
    CODES.split(' ').any(|known| known == code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_is_two_capital_letters_and_there_once() {
        let codes: Vec<&str> = CODES.split(' ').collect();
        assert_eq!(codes.len(), 249);
        assert!(codes.iter().zip(codes.iter().skip(1)).all(|(a, b)| a < b));
        let is_code = |code: &&str| code.len() == 2 && code.chars().all(|c| c.is_ascii_uppercase());
        assert!(codes.iter().all(is_code));
    }

    #[test]
    fn what_is_no_code_is_told() {
        for code in ["US", "DE", "NL", "ZW", "AD"] {
            assert!(is_country(code), "{code}");
        }
        // United Kingdom is GB, and the European Union is no country.
        for code in [
            "",
            "us",
            "UK",
            "EU",
            "XX",
            "USA",
            "D",
            "United States",
            "US AD",
            " ",
        ] {
            assert!(!is_country(code), "{code}");
        }
    }
}
