"""The kernel's addresses: finding, people and cars, the shop, coming in and going out."""

from django.urls import path

from garage.views import customers, entry, find, forgetting, merging, people, pictures, shop, vehicles

urlpatterns = [
    path("login/", entry.LogIn.as_view(), name="login"),
    path("logout/", entry.log_out, name="logout"),
    path("token/", entry.token, name="token"),
    path("password/", entry.own_password, name="own-password"),
    path("find/", find.find, name="find"),
    path("customers/", customers.customers, name="customers"),
    path("customers/new/", customers.customer_new, name="customer-new"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/edit/", customers.customer_edit, name="customer-edit"),
    path("customers/<int:pk>/erase/", forgetting.customer_forget, name="customer-forget"),
    path("customers/<int:pk>/merge/", merging.customer_merge, name="customer-merge"),
    path("customers/<int:pk>/part/", merging.customer_part, name="customer-part"),
    path("vehicles/new/", vehicles.vehicle_new, name="vehicle-new"),
    path("vehicles/vin/", vehicles.vehicle_vin, name="vehicle-vin"),
    path("vehicles/<int:pk>/", vehicles.vehicle, name="vehicle"),
    path("vehicles/<int:pk>/edit/", vehicles.vehicle_edit, name="vehicle-edit"),
    path("vehicles/<int:pk>/owner/", vehicles.vehicle_owner, name="vehicle-owner"),
    path("vehicles/<int:pk>/merge/", merging.vehicle_merge, name="vehicle-merge"),
    path("vehicles/<int:pk>/part/", merging.vehicle_part, name="vehicle-part"),
    path("vehicles/<int:pk>/odometer/", vehicles.odometer_add, name="odometer-add"),
    path("photos/<int:pk>/", pictures.photo, name="photo"),
    path("shop/", shop.shop_profile, name="shop-profile"),
    path("shop/people/", people.people, name="people"),
    path("shop/people/new/", people.person_new, name="person-new"),
    path("shop/people/<int:pk>/", people.person_edit, name="person-edit"),
    path("shop/people/<int:pk>/password/", people.person_password, name="person-password"),
]
