"""List every page that the application serves."""

from api.web.addresses import FILE_PAGES, PAGES

ROUTES = {
    route.name: (method, route.path)
    for router in (*FILE_PAGES, *PAGES)
    for route in router.routes
    for method in route.methods
}
