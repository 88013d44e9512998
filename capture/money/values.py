"""Which prices, costs, times and terms does money stand on?

Trade values from memory, US, about 2024 dollars, before income tax, in today's prices:
nothing here grows with inflation, so rates are real ones.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, chosen, practice
from capture.basis.units import M2_PER_ACRE, M2_PER_FT2, M_PER_FT

#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    "opening_months": (1.0, 120.0),
    "building_months": (0.0, 60.0),
    "loan_years": (1.0, 60.0),
}

VALUES: Final = Sheet(
    "money",
    [
        # revenue
        practice("card_fee_share", 0.022, 0.030, 0.045, "share", "of revenue, card fees"),
        practice("upgrade_usd_car", 0.0, 0.0, 1.0, "USD", "sold beside the wash, a car"),
        # costs of a car
        practice("water_usd_car", 0.2, 0.5, 1.2, "USD", "water and sewer a car"),
        practice("energy_kwh_car", 0.9, 1.6, 3.0, "kWh", "electricity a car with vacuums"),
        practice("energy_usd_kwh", 0.08, 0.13, 0.22, "USD/kWh", "electricity with demand charges"),
        practice("chemistry_usd_car", 0.35, 0.7, 1.3, "USD", "wash chemistry a car"),
        practice("maintenance_usd_car", 0.3, 0.55, 1.0, "USD", "repairs and parts a car"),
        # costs of being open
        practice("staff_exterior", 2.0, 3.0, 5.0, "count", "people on shift, exterior"),
        practice("staff_bays", 0.15, 0.3, 0.6, "count", "people on shift, bays"),
        practice("wage_usd_h", 16.0, 20.0, 27.0, "USD/h", "an hour of staff with payroll costs"),
        practice("labour_flex_usd_car", 1.5, 3.0, 5.0, "USD", "labour a car beyond exterior, flex"),
        practice(
            "labour_full_usd_car",
            4.5,
            6.6,
            9.5,
            "USD",
            "labour a car beyond exterior, full service",
        ),
        practice(
            "tax_insurance_usd_year", 40e3, 90e3, 200e3, "USD/year", "property tax and insurance"
        ),
        practice("overhead_usd_year", 20e3, 45e3, 100e3, "USD/year", "office, software, adverts"),
        practice("bays_overhead_share", 0.15, 0.3, 0.5, "share", "of those two for bay formats"),
        # capital
        practice(
            "building_usd_m2",
            250 / M2_PER_FT2,
            375 / M2_PER_FT2,
            600 / M2_PER_FT2,
            "USD/m2",
            "building with equipment room",
        ),
        practice(
            "building_width_m",
            30 * M_PER_FT,
            35 * M_PER_FT,
            42 * M_PER_FT,
            "m",
            "width of the building with its equipment room",
        ),
        practice(
            "building_extra_m",
            8 * M_PER_FT,
            15 * M_PER_FT,
            30 * M_PER_FT,
            "m",
            "building beyond the conveyor, when the line does not say",
        ),
        practice(
            "bay_building_m2",
            45.0,
            60.0,
            80.0,
            "m2",
            "building per bay with its share of the equipment room",
        ),
        practice("equipment_spread", 0.75, 1.0, 1.35, "1", "paid over listed equipment price"),
        practice(
            "site_works_usd",
            0.5e6,
            1.0e6,
            2.2e6,
            "USD",
            "paving, drains, utilities, planting, conveyor site",
        ),
        practice("bays_site_works_share", 0.2, 0.35, 0.5, "share", "of that, bay formats"),
        practice(
            "soft_share",
            0.08,
            0.13,
            0.20,
            "share",
            "of hard costs: design, permits, interest, legal",
        ),
        practice("fees_usd", 30e3, 120e3, 500e3, "USD", "water tap and impact fees"),
        practice("pre_opening_usd", 50e3, 110e3, 250e3, "USD", "hiring, training, opening adverts"),
        practice(
            "land_usd_m2",
            0.35e6 / M2_PER_ACRE,
            0.8e6 / M2_PER_ACRE,
            2.0e6 / M2_PER_ACRE,
            "USD/m2",
            "land on a busy road, when no price is given",
        ),
        practice(
            "land_long_m2",
            0.75 * M2_PER_ACRE,
            1.1 * M2_PER_ACRE,
            1.6 * M2_PER_ACRE,
            "m2",
            "parcel of a long line, when no parcel is given",
        ),
        practice(
            "land_short_m2",
            0.4 * M2_PER_ACRE,
            0.6 * M2_PER_ACRE,
            0.9 * M2_PER_ACRE,
            "m2",
            "parcel of a 60 ft line or of bays, when no parcel is given",
        ),
        chosen(
            "long_line_m",
            125 * M_PER_FT,
            125 * M_PER_FT,
            125 * M_PER_FT,
            "m",
            "what counts as a long line",
        ),
        chosen(
            "short_line_m",
            60 * M_PER_FT,
            60 * M_PER_FT,
            60 * M_PER_FT,
            "m",
            "what counts as a short line",
        ),
        practice("closing_share", 0.01, 0.02, 0.04, "share", "of land price: survey, title"),
        # time
        practice("opening_months", 12.0, 20.0, 36.0, "months", "from contract to opening"),
        practice("building_months", 7.0, 9.0, 13.0, "months", "of that, construction"),
        # terms
        chosen(
            "discount_share", 0.08, 0.08, 0.08, "share", "real yearly rate that money must earn"
        ),
        practice("loan_share", 0.50, 0.65, 0.75, "share", "of project cost that is lent"),
        practice("loan_rate_share", 0.065, 0.08, 0.10, "share", "yearly interest on the loan"),
        chosen("loan_years", 20.0, 20.0, 20.0, "years", "over which the loan is paid off"),
        chosen(
            "land_kept_share", 1.0, 1.0, 1.0, "share", "of the land's price left after ten years"
        ),
        chosen(
            "works_kept_share", 0.30, 0.50, 0.70, "share", "of building and site works left then"
        ),
        chosen("equipment_kept_share", 0.05, 0.10, 0.20, "share", "of equipment left then"),
        chosen(
            "carry_share",
            0.10,
            0.25,
            0.50,
            "share",
            "of property tax and insurance due before opening",
        ),
    ],
    permitted=_PERMITTED,
)
