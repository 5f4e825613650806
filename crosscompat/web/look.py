from flask import Blueprint

PAGES = Blueprint("look", __name__)


@PAGES.get("/look/<number>")
def look(number: str) -> str:
    return number
