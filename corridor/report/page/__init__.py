"""The what-if page of a review: one file that a browser shows without asking anything of anybody."""

from corridor.report.page.write import PAGE_FILE, page_html, write_page

__all__ = ["PAGE_FILE", "page_html", "write_page"]
