"""What may go where another tube was: pins followed by element, and the traps of the trade."""

from each import each

from rework.tubes import library
from rework.tubes.relatives import ElementMove, pin_moves, relatives, standing


def moves(old, new):
    return pin_moves(library.find(old), library.find(new))


def how(old, new):
    return standing(library.find(old), library.find(new))


def test_the_50c5_grid_pins_both_move_in_a_6aq5_socket():
    found = moves("50C5", "6AQ5")
    assert found.moves == (
        ElementMove("cathode", ("1",), ("2",)),
        ElementMove("grid", ("2", "5"), ("1", "7")),
        ElementMove("plate", ("7",), ("5",)),
    )
    assert (found.missing, found.added, found.taken) == ((), (), ())


def test_a_50c5_gives_way_to_a_6cu5_with_no_wire_moved():
    assert moves("50C5", "6CU5").same_pins


def test_heater_tap_lost_and_shield_gained_is_not_the_same_socket():
    found = moves("12AX7", "ECC85")
    assert (found.missing, found.added, found.same_pins) == (("heater-tap",), ("shield",), False)


def test_a_tie_point_on_a_free_pin_is_reported_when_the_new_tube_uses_it():
    assert moves("6CG7", "ECC85").taken == ("9",)
    assert moves("6X5GT", "GZ34").taken == ("1", "4", "6")


def test_a_lamp_tap_without_a_counterpart_is_missing():
    assert moves("35Z5GT", "35Z4GT").missing == ("lamp-tap",)


@each("name", library.types())
def test_going_to_itself_moves_nothing_and_there_and_back_is_the_mirror(name):
    old = library.find(name)
    assert pin_moves(old, old).same_pins
    for kin in old.relatives:
        there, back = moves(name, kin.type), moves(kin.type, name)
        assert [(move.old, move.new) for move in there.moves] == [
            (move.new, move.old) for move in back.moves
        ]
        assert (there.missing, there.added) == (back.added, back.missing)


@each("name", library.types())
def test_a_relative_or_lookalike_is_so_in_both_directions_and_has_a_file(name):
    tube = library.find(name)
    for kin in tube.relatives:
        assert kin.how == "same curves"
        assert name in [back.type for back in library.find(kin.type).relatives]
    for alike in tube.lookalikes:
        assert alike.why.endswith(".")
        assert name in [back.type for back in library.find(alike.type).lookalikes]


@each("name", library.types())
def test_same_curves_carry_on_from_relative_to_relative(name):
    tube = library.find(name)
    family = {kin.type for kin in tube.relatives} | {name}
    for kin in tube.relatives:
        beyond = {further.type for further in library.find(kin.type).relatives}
        assert beyond <= family, beyond - family


@each(
    ("old", "new", "word"),
    [
        ("50C5", "6CU5", "same curves"),
        ("50L6GT", "6W6GT", "same curves"),
        ("UCL82", "ECL82", "same curves"),
        ("UL84", "EL86", "same curves"),
        ("12AV6", "6AV6", "same curves"),
        ("ECC83", "12AX7", "same curves"),
        ("50C5", "50B5", "same curves"),
        ("UL84", "EL84", "lookalike"),
        ("PL84", "EL84", "lookalike"),
        ("50C5", "6AQ5", "lookalike"),
        ("50L6GT", "6V6GT", "lookalike"),
        ("35L6GT", "6W6GT", "lookalike"),
        ("12AX7", "ECC85", "lookalike"),
        ("12AX7", "EL84", "unrelated"),
    ],
)
def test_standing_knows_twins_from_tubes_that_only_look_alike(old, new, word):
    assert how(old, new).word == word
    assert how(new, old).word == word
    assert how(old, new).why.endswith(".")


def test_a_twin_on_other_pins_is_told_as_such():
    assert "other pins" in how("50C5", "50B5").why
    assert not moves("50C5", "50B5").same_pins


def test_relatives_put_the_6_volt_type_first_and_say_whether_pins_move():
    found = relatives(library.find("50B5"))
    assert (found[0].type, found[0].way.amps.value, found[0].pins_move) == ("6CU5", 1.2, True)
    assert [one.type for one in relatives(library.find("12AU6"))] == ["6AU6"]


def test_a_12ax7_is_its_own_6_volt_relative():
    first = relatives(library.find("12AX7"))[0]
    assert (first.type, first.pins_move, first.way.volts.value) == ("12AX7", False, 6.3)
    assert first.note == "The same tube: 6.3 V 0.3 A between pin 4+5 and pin 9."


def test_a_60fx5_has_no_relative_at_all():
    assert relatives(library.find("60FX5")) == ()
