from flask import Blueprint

PAGES = Blueprint("crosses", __name__)


@PAGES.get("/crosses/<number>")
def cross(number: str) -> str:
    return number
