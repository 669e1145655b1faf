"""Reading the shop's list of orders: what is understood, what is refused, and in which words."""

import pytest

from joblog.errors import InputError
from joblog.measure.vin import check_vin
from joblog.web.app import STATIC
from joblog.web.orders import COLUMNS, read_orders

EXAMPLE = (STATIC / "orders-example.csv").read_bytes()
VIN = "1KC7F6AB6GH041620"  # invented; its check digit fits
HEAD = b"order,plate,customer\r\n"


def test_example_file_is_read_with_all_its_columns():
    orders = read_orders(EXAMPLE)
    assert not orders.remarks
    assert orders.rows[0]["customer"] == "Bramble & Rye Bakery"
    assert orders.rows[2]["customer"] == "Quince Lane Flowers, Example Town"
    assert EXAMPLE.split(b"\r\n")[0].decode().split(",") == [c for c in COLUMNS if c != "engine"]
    assert all(check_vin(row["vin"]).check_fits for row in orders.rows if "vin" in row)


@pytest.mark.parametrize(
    ("data", "name"),
    [
        ("order;customer\n7;Rosé & Søn\n".encode(), "Rosé & Søn"),
        ("order;customer\n7;Rosé & Søn\n".encode("utf-8-sig"), "Rosé & Søn"),
        ("order\tcustomer\n7\tRosé & Søn\n".encode("utf-16"), "Rosé & Søn"),
        ("Order Number,Customer-Name\r\n7,Rosé & Søn\r\n".encode("cp1252"), "Rosé & Søn"),
        (b'order,customer\n7,"Rye, Oat ""and"" Co"\n', 'Rye, Oat "and" Co'),
        (b'order,customer\n\n7,"Rye\nOat"\n', "Rye Oat"),
    ],
)
def test_separators_encodings_and_quotes_that_spreadsheets_write(data, name):
    orders = read_orders(data)
    assert orders.rows == ({"order": "7", "customer": name},)
    doubtful = b"\xe9" in data and not data.startswith(b"\xff\xfe")
    assert bool(orders.remarks) == doubtful


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "The file is empty"),
        (b"PK\x03\x04rest", "save it as CSV"),
        (b"order\0,plate", "no text file"),
        (b"plate,customer\n1,2\n", "Line 1 must name the columns, one of them 'order'"),
        (b"order,number\n1,2\n", "two columns mean 'order'"),
        (HEAD, "no orders under its first row"),
        (HEAD + b"1,A,B\n2,A\n", "names 3; leave a field empty where nothing is known"),
        (HEAD + b"1,A,B\n2\n", "Line 3 has 1 field, but"),
        (HEAD + b"1,A,B\n,A,B\n", "Line 3 has no order number"),
        (HEAD + b'1,A,"B\nC"\n2,A,B,C\n', "Line 4 has 4 fields, but the first row names 3; put"),
        (HEAD + b'1,A,B\n2,"A,B\n3,A,B\n', "Line 3: a quotation mark is not closed"),
        (HEAD + b"1,A,B\n1,A,C\n", "Line 3: order 1 stands in line 2 already"),
        (HEAD + b"1,A,\x81\n", "Line 2 has signs that can't be read"),
        (HEAD + b"1,A," + b"x" * 600, "longer than 500"),
        (b"order,date\n1,25.11.2026\n", "must look like 2026-11-25"),
        (b"order,date\n1,2026-02-30\n", "must look like 2026-11-25"),
        (b"order,year\n1,16\n", "four figures"),
        (b"order,odometer\n1,\"91,240\"\n", "Line 2: the odometer '91,240' must be a whole number"),
        (b"order,odometer_unit\n1,furlongs\n", "mi, km or h"),
        (b"order,odometer,odometer_unit\n1,\"1,450\",h\n", "hour meter '1,450' must be a number"),
        (b"order,odometer,odometer_unit\n1,450.5,km\n", "must be a whole number"),
    ],
)  # fmt: skip
def test_a_file_with_a_mistake_is_one_sentence_with_its_line(data, sentence):
    with pytest.raises(InputError) as told:
        read_orders(data)
    assert sentence in str(told.value)
    assert str(told.value).endswith(".")


def test_what_can_be_left_out_is_a_remark():
    wrong = VIN[:8] + ("1" if VIN[8] != "1" else "2") + VIN[9:]
    text = f"order,vin,mood\n7,{wrong},good\n8,{VIN.lower()},\n8,{VIN.lower()},\n"
    orders = read_orders(text.encode())
    assert orders.rows == ({"order": "7"}, {"order": "8", "vin": VIN})
    assert [r.split(":")[0] for r in orders.remarks] == ["Columns not used", "Line 2", "Line 4"]
